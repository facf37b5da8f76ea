"""Many builds of one rig, walked on all cores or on a cluster, and what they tell together."""
