"""The constants of the finder, each with its unit and why it is what it is."""

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
        Radius, in reduced pixels, at which rims are searched. Below 8 the hole and
        a dark gap inside it merge; above 16 the search only gets slower.
    largest_search_plane_px
        Pixels of the largest plane that is searched as a whole: bounds the time on
        a 3840 x 2160 frame.
    candidates
        Places that are looked at closely. Land, cone and dirt give some; twelve
        cost under 10 ms.
    rays_per_px
        Rays per pixel of circumference. From one on, no pixel of the rim is left
        out; the efficiency lost at fewer is 25 % at 0.5.
    sample_step_px
        Step along a ray. Finer ones only repeat the same pixels.
    rounds
        Rounds of edge, fit, new window. Shifts between the third and the fourth
        are below 0.001 px.
    lowest_coverage
        Share of the rim that must be believed. With a third hidden the centre is
        still determined four times as well as the radius of a half circle.
    shortest_unsized_px
        Length of rim that must be believed where the bore's size is not known:
        without it letters and eyes pass with up to 58 px (scikit-image's text and
        astronaut); a bore of 12 px radius, a fifth of it hidden, still has 60.
    smallest_contrast
        Edge height in parts of full scale: six steps of an 8-bit picture, below
        which JPEG decides where the edge is.
    smallest_edge_to_noise
        Median edge height over the noise of one ray's edge.
    largest_blur_ratio
        Blur over radius from which a neighbour's edge reaches into the window.
    largest_residual_ratio, largest_residual_px
        RMS residual of anything round: so much of the radius, plus so many px. A
        hexagon has 0.04 of the radius, a ragged worn bore 0.01; half a pixel comes
        from demosaicing and JPEG however small the bore is.
    lowest_roundness
        Minor over major axis. Four degrees of tilt give 0.998, pixels of unequal
        sides 0.95, a worn bore 0.9.
    ellipticity_sigma
        What is believed of half the difference of the semi-axes before looking, in
        parts of the radius; a weak prior that matters only where much of the rim
        is hidden.
    rival_score
        A second place scoring above this part of the best is a rival.
    dark_level, burnt_level
        Parts of full scale below which a picture is dark, from which it is burnt out.
    ring_height
        Height of a further dark-to-bright ring, in parts of the main edge, from which
        it is taken for the outer end of the bore's edge break.
    ring_reach
        How far outside the edge that ring is looked for, in parts of the radius:
        further out a groove of the land is as likely.
    """

    smallest_radius_px: float = 10.0
    largest_radius_px: float = 160.0
    search_radius_px: float = 6.0
    narrowest_search_px: float = 5.0
    sorting_radius_px: float = 12.0
    voters: int = 1800
    radius_ratio: float = 1.14
    vote_cell_px: float = 1.5
    fewest_votes: float = 0.1
    least_votes: float = 0.3
    largest_search_plane_px: int = 1_300_000
    smallest_half_px: int = 24
    candidates: int = 8
    rays_per_px: float = 1.25
    sample_step_px: float = 0.5
    rounds: int = 3
    settled_px: float = 0.02
    edge_window: float = 2.2
    clean_window: float = 5.5
    first_rays: tuple[int, ...] = (96, 192)
    most_rays: int = 1080
    lowest_coverage: float = 0.58
    shortest_unsized_px: float = 59.0
    smallest_contrast: float = 0.045
    smallest_edge_to_noise: float = 9.0
    largest_height_spread: float = 0.7
    lowest_tenth_height: float = 0.15
    filled: float = 0.5
    widest_gap_px: float = 6.5
    widest_gap_ratio: float = 0.3
    thin_gap_ratio: float = 0.15
    softest_gap: float = 3.2
    largest_corner_ratio: float = 0.018
    corner_share: float = 0.6
    largest_blur_ratio: float = 0.3
    soft_ratio: float = 0.2
    soft_contrast: float = 0.12
    soft_residual_ratio: float = 0.02
    largest_residual_ratio: float = 0.016
    largest_residual_px: float = 0.35
    same_radius: float = 0.06
    lowest_roundness: float = 0.885
    ellipticity_sigma: float = 0.02
    rival_score: float = 0.7
    crossing_score: float = 0.25
    centred_on_land: float = 0.6
    least_seen: float = 0.8
    dark_level: float = 0.1
    burnt_level: float = 0.985
    ring_reach: float = 0.32
    plain_edge: float = 0.05
    break_penalty: float = 0.02
    break_gain: float = 0.04
    least_shared: float = 0.25
    break_share: float = 0.05
    least_aside: float = 0.4
    least_outside: float = 0.1
    outside_worth: float = 0.25
    flank_weight: float = 1.55
    light_weight: float = 0.24
    scatter_weight: float = 0.19
    hidden_weight: float = 4.0
