"""How good the core's tests are: each small change of a safety file must make one of them fail."""
