"""What the commands tell, as text for a person and as JSON or SARIF for programs; nothing here prints."""
