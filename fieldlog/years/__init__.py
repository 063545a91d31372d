"""Questions over years: everything found, said and worn as tables, asked in SQL."""
