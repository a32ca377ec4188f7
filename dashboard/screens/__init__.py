"""One file a screen: each asks the fleet, calls the charts and draws, and opens with the answer in a sentence."""
