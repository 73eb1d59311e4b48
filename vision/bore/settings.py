"""The constants of the finder, each with its unit and why it is what it is.

"Painted" are the analytic pictures of tests/benchmarks/finder/painter.py: the finder was
tuned on those alone. Figures are of 1,320 of them, seeds 0 to 659 and 2000 to 2659.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class FinderSettings:
    """What the finder may be told apart from the picture.

    Attributes
    ----------
    smallest_radius_px, largest_radius_px
        Bores that are looked for without a prior. A rim of under 10 px leaves no
        room for its own blur; 160 px is a 1 mm bore at 3 um a pixel.
    search_radius_px
        Radii from this to twice this are searched in one half of the picture. Under
        6 px a hole and a dark gap inside it merge; over it only time is spent.
    narrowest_search_px
        Smallest radius, in pixels of a half, that may be searched in it.
    largest_search_plane_px
        Pixels of the largest half that is searched: bounds the time on a 3840 x 2160
        frame, in which bores under 20 px are then not looked for.
    smallest_half_px
        A half smaller than this holds no rim.
    sorting_radius_px
        Edges of a place are sorted at one to two times this radius.
    voters
        Edges that vote in one half, strongest first. A rim has some 160.
    radius_ratio
        Step between radii that are voted for: half a step, 7 %, is less than a vote's
        width.
    vote_cell_px
        Width of a cell of the count of votes, in pixels of the half.
    fewest_votes
        Share of a circumference that must have voted.
    least_votes
        Share of the best place's votes under which a place is not looked at.
    candidates
        Places that are looked at closely. Land, cone and dirt give some.
    rays_per_px
        Rays per pixel of circumference. From one on, no pixel of the rim is left
        out; the efficiency lost at fewer is 25 % at 0.5.
    first_rays
        Rays of the first rounds, which only bring the edge into the next one's window.
        With one such round, painted pictures that are no bore passed twice as often.
    most_rays
        Rays of the last rounds at most: bounds the time of a large bore.
    sample_step_px
        Step along a ray, twice that where the edge is blurred over 2 px and more. Finer
        ones only repeat the same pixels.
    edge_window, clean_window
        Half width of the window round the edge in parts of the blur, plus 2 px. Dirt
        next to the edge asks for a narrow one: at 2.5 to 3.5 the 90th percentile of painted
        errors is a fifth larger than at 2. A clean edge asks for a wide one, as levels are
        then better known: 1.1 to 1.4 of the Cramer-Rao bound at 5.5 (1.5 where the radius,
        20 px at blur 4, cuts the window), up to 1.8 at 2.5.
    rounds
        Rounds with all rays at most.
    settled_px
        Shift of the centre under which a round is the last.
    same_radius
        By how much a radius may differ from the last picture's, in parts, to be followed.
    lowest_coverage
        Share of the rim that must be believed. With a third hidden the centre is
        still determined four times as well as the radius of a half circle.
    shortest_unsized_px
        Length of rim that must be believed where the bore's size is not known:
        without it letters and eyes pass with up to 58 px (scikit-image's text and
        astronaut); a bore of 12 px radius, a fifth of it hidden, still has 60.
    least_weight
        Weight of an edge, in parts of a good one's, from which it is believed: an edge of
        0.4 of the height, as on a lit edge break, weighs as much.
    least_seen
        Share of the rays that must lie in the picture from end to end.
    smallest_contrast
        Edge height in parts of full scale: eleven steps of an 8-bit picture. Many shadows
        and pictures far out of focus have 0.03 to 0.05, 99 % of painted bores 0.15 and more.
    smallest_edge_to_noise
        Median edge height over noise: 6 for faint shadows, 20 and more for 99 % of painted
        bores.
    largest_height_spread, lowest_tenth_height
        Spread of the heights (1.4826 x MAD) and their lowest tenth, in parts of their
        median: 99 % of painted bores have 0.42 and 0.34. Land, cones and text have 0.8 to
        6 and down to -6.
    largest_blur_ratio
        Blur over radius from which a neighbour's edge reaches into the window.
    soft_ratio, soft_contrast, soft_residual_ratio
        From this blur over radius on, an edge must be this high and its RMS residual at
        most so many parts of the radius plus 0.1 px; shadows fall short of one or both.
    largest_residual_ratio, largest_residual_px
        RMS residual of anything round: so much of the radius, plus so many px. 99 % of
        painted bores have 0.025 of the radius; demosaicing and JPEG add px however small
        the bore is.
    plain_residual_ratio, plain_coverage
        RMS residual (plus 0.2 px) and share of the rim of an outer rim that may be taken
        where the plain one is no bore's: without, 7 of 27 painted pictures of noise pass,
        with it 3.
    largest_corner_ratio, corner_share
        Amplitude of one harmonic, in parts of the radius, and its share of the residual's
        power, from which a rim has corners: hexagons have 0.028 and 0.8.
    lowest_roundness
        Minor over major axis. Four degrees of tilt give 0.998, pixels of unequal
        sides 0.95, a worn bore 0.9; a drop that covers the bore 0.86.
    filled
        Brightness of the middle, between the darkest ring and the land, from which the
        bore is taken to be full.
    widest_gap_px, widest_gap_ratio
        Width of the dark ring round what fills it: so many px plus 2.5 times the blur, and
        so much of the radius plus 1.2 times the blur. Shrunk plastic leaves 3 to 8 px;
        the dark rim of cones, drops and screws takes up a third of the radius.
    thin_gap_ratio, softest_gap
        A ring wider than this part of the radius must also brighten within so many times
        the blur plus 1 px: plastic has an edge, the flank of a drop has none.
    ellipticity_sigma
        What is believed of half the difference of the semi-axes before looking, in
        parts of the radius; a weak prior that matters only where much of the rim
        is hidden.
    rival_score
        A second place scoring above this part of the best is a rival.
    crossing_score
        The same for a place that touches the best one: a drop looks better than the bore
        it hides. Against 0.4 it costs 1 to 2 % of the pictures that are accepted.
    hiding_score
        The same for a place that touches the best one and could not be measured.
    centred_on_land
        Of rivals the one that lies on its land so much better than the others is the bore.
    dark_level, burnt_level
        Parts of full scale below which a picture is dark, from which it is burnt out.
    ring_reach
        How far outside the edge the end of a lit edge break is looked for, in parts of
        the radius: further out a groove of the land is as likely.
    plain_edge, least_outside
        Mean squared distance of the steps from the rim (in parts of what is let pass)
        and share of rays with a step outside of it, under which no break is looked for.
    break_penalty, break_gain, outside_worth
        Cost of a second circle, gain that it must bring, and worth of the steps outside
        that it explains, all in parts of the cost of a rim that explains nothing.
    least_shared
        Share of the rays that must have their main step on the outer circle.
    break_share
        By how much fewer rays may have a step on the outer circle than on the plain one.
    least_aside
        Shift of the centre over change of the radius under which both ends of the break
        have one centre, and the stronger edge is kept.
    flank_weight, light_weight, scatter_weight
        Weights of the three signs of a static error: maximum likelihood on 834 painted
        pictures, seeds 5000 to 5879 (0.93, 0.14, 0.11), widened by 1.3 squared for errors
        that are no normal ones.
    oval_weight
        Static variance in parts of the squared half difference of the semi-axes: 0.1 of it
        as a standard deviation. A guess, for one worn oval of the rendered samples.
    hidden_weight
        By exp(weight x hidden share of the rim) the static variance grows; on painted
        pictures with over 15 % hidden it brings 2 sigma from 91 to 94 %.
    """

    smallest_radius_px: float = 10.0
    largest_radius_px: float = 160.0
    search_radius_px: float = 6.0
    narrowest_search_px: float = 5.0
    largest_search_plane_px: int = 1_300_000
    smallest_half_px: int = 24
    sorting_radius_px: float = 12.0
    voters: int = 1800
    radius_ratio: float = 1.14
    vote_cell_px: float = 1.5
    fewest_votes: float = 0.1
    least_votes: float = 0.3
    candidates: int = 8
    rays_per_px: float = 1.25
    first_rays: tuple[int, ...] = (96, 192)
    most_rays: int = 1080
    sample_step_px: float = 0.5
    edge_window: float = 2.2
    clean_window: float = 5.5
    rounds: int = 3
    settled_px: float = 0.02
    same_radius: float = 0.06
    lowest_coverage: float = 0.58
    shortest_unsized_px: float = 59.0
    least_weight: float = 0.15
    least_seen: float = 0.8
    smallest_contrast: float = 0.045
    smallest_edge_to_noise: float = 9.0
    largest_height_spread: float = 0.7
    lowest_tenth_height: float = 0.15
    largest_blur_ratio: float = 0.3
    soft_ratio: float = 0.2
    soft_contrast: float = 0.12
    soft_residual_ratio: float = 0.02
    largest_residual_ratio: float = 0.016
    largest_residual_px: float = 0.35
    plain_residual_ratio: float = 0.006
    plain_coverage: float = 0.8
    largest_corner_ratio: float = 0.018
    corner_share: float = 0.6
    lowest_roundness: float = 0.885
    filled: float = 0.5
    widest_gap_px: float = 6.5
    widest_gap_ratio: float = 0.3
    thin_gap_ratio: float = 0.15
    softest_gap: float = 3.2
    ellipticity_sigma: float = 0.02
    rival_score: float = 0.7
    crossing_score: float = 0.25
    hiding_score: float = 0.5
    centred_on_land: float = 0.6
    dark_level: float = 0.1
    burnt_level: float = 0.985
    ring_reach: float = 0.32
    plain_edge: float = 0.05
    least_outside: float = 0.1
    break_penalty: float = 0.02
    break_gain: float = 0.04
    outside_worth: float = 1.0
    least_shared: float = 0.25
    break_share: float = 0.05
    least_aside: float = 0.4
    flank_weight: float = 1.55
    light_weight: float = 0.24
    scatter_weight: float = 0.19
    oval_weight: float = 0.01
    hidden_weight: float = 4.0
