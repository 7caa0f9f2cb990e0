"""What makes the demo's recording, and what shows what is in one."""
