"""A third physics for the bench, written from the contract without a look at the detectors."""
