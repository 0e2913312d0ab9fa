"""Review of jumps by a person: in plain Python (``session``) and in JupyterLab (``widget``)."""
