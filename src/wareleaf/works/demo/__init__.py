"""The demo works: an invented firm with a kelp works and a tea works on an invented coast."""
