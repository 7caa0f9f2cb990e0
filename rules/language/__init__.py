"""The rule file: its form (`schema`), how it is read (`reading`), and the tests it carries."""
