"""A searchable library of troubleshooting trees: proven, drawn and published from YAML."""
