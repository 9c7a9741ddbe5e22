"""Results and drawings to HTML text: one view for each kind of page, one template beside it."""

from sitegen.render.acceptance import acceptance_page
from sitegen.render.calibration import calibration_page
from sitegen.render.campaign import campaign_page, first_words
from sitegen.render.data import data_page
from sitegen.render.device import device_page
from sitegen.render.method import method_page
from sitegen.render.notes import notes_page
from sitegen.render.page import FrameArt, Page
from sitegen.render.parameter import parameter_page
from sitegen.render.problems import problems_page
from sitegen.render.reference import reference_markdown, reference_page
from sitegen.render.search import search_index
from sitegen.render.sources import has_sources, sources_page
from sitegen.render.static import static_files
from sitegen.render.station import station_page
from sitegen.render.verification import verification_page
from sitegen.render.wafer import wafer_pages

__all__ = [
    "FrameArt",
    "Page",
    "acceptance_page",
    "calibration_page",
    "campaign_page",
    "data_page",
    "device_page",
    "first_words",
    "has_sources",
    "method_page",
    "notes_page",
    "parameter_page",
    "problems_page",
    "reference_markdown",
    "reference_page",
    "search_index",
    "sources_page",
    "static_files",
    "station_page",
    "verification_page",
    "wafer_pages",
]
