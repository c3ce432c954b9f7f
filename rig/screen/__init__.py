"""The bench screen: shows a run as it goes on, asks, and calls one function for each action."""
