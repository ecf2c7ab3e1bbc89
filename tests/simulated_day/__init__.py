"""A whole field day over HTTP: a server on a scripted clock, thirty phones, a director, and a judge of its own."""
