"""Kills at random instants: the parts that run in processes of their own, and the trial that watches them."""
