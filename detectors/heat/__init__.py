"""What heat can do: a heater's own model, its balance at a hold, its ripple and what stirs it."""
