"""On the bench: a person and a board in turn, joint by joint, wire by wire, stage by stage."""
