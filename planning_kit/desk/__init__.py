"""Widgets for JupyterLab. They show a session and pass on what the planner does; no planning logic."""
