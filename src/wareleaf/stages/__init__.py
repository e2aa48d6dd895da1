"""The stages of a leaf works: each has `simulate`, `aim` and `project`."""
