"""Books at the schema of an earlier program, brought to the newest one."""
