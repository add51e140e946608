"""Words, local times and tables that texts, plots and the sheet share."""
