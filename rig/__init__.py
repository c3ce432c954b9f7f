"""refurb-rig: a diagnostic rig controller for workshops that refurbish small steam sterilisers."""

__version__ = "0.1.0"
