//! From one finished result to table, JSON, CSV, plots and papers.

pub mod budget;
pub mod compare_files;
pub mod compare_page;
pub mod compare_table;
pub mod correction_files;
pub mod csv;
pub mod error;
pub mod findings;
pub mod finite;
pub mod forecast_table;
pub mod html;
pub mod jobs;
pub mod json;
pub mod look;
pub mod orientation;
pub mod output;
pub mod paper;
pub mod pdf;
pub mod plots;
pub mod result;
pub mod result_build;
pub mod table;
pub mod takes;
pub mod words;
pub mod write;

#[cfg(test)]
pub(crate) mod example;
