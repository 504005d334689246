"""What should show now, and what keeps an area from being set."""
