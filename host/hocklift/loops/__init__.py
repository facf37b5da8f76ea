"""The control loop in the linear sense: its margins, named tuning rules, the relay experiment."""
