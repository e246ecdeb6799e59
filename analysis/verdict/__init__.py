"""From readings to a verdict: uncertainty budgets, a reading held against a window, several pulls taken together."""
