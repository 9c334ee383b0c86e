"""One module for each kind of event, or for kinds that share one piece of evidence."""
