"""The world around the rules: files, folders, ports, terminals. Every effect of Pointsman lives here."""
