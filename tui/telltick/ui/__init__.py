"""The screen: app, widgets, keys, palettes. The only place that knows Textual."""
