"""Measures a mesh, a solid or a layout into coded findings. Never repairs, never prints."""
