"""The page for the customer: one HTML file that holds all it needs and opens without a network."""

from canwheel.views.page.pages import PageNotes, render_check_page, render_comparison_page

__all__ = ["PageNotes", "render_check_page", "render_comparison_page"]
