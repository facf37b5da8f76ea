"""The manual: pages made from the code's own tables, examples that are run, the built site."""
