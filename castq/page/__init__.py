"""The page at the furnace: a local web page on which a sample is entered and answered."""
