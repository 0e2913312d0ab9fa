"""Every defensible way to analyse a study: choices, one reading of the files, values, estimates."""
