//! From one finished result to table, JSON, CSV, plots and papers.
