"""What slackwater believes."""
