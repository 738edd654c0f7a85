"""What people write: YAML in, validated models out, and verdicts on measures."""
