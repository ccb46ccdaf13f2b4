"""Where structures go: at headcuts, in pairs and series, in swales, on fans and roads."""
