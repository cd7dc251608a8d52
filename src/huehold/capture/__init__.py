"""Where frames come from: recordings, cameras, streams, a phone's browser."""
