"""Changes to the site file that people ask for on a screen: asked for in the journal, made by the collector."""
