"""The working behind a band's numbers: formula, values put in, result, source; and what each check means."""
