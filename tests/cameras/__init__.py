"""Tests of the frame sources."""
