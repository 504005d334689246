"""The rooms of the workbench, in the order of the work."""
