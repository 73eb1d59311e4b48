"""Pictures with exact truth that grade the bore finder, and the tables that come of them."""
