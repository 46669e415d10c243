//! From one finished result to table, JSON, CSV, plots and papers.

pub(crate) mod budget;
pub(crate) mod compare_files;
pub(crate) mod compare_page;
pub(crate) mod compare_table;
pub(crate) mod correction_files;
pub mod csv;
pub mod error;
pub(crate) mod findings;
pub(crate) mod finite;
pub(crate) mod forecast_table;
pub mod html;
pub mod inputs;
pub mod json;
pub mod look;
pub(crate) mod orientation;
pub mod output;
pub mod paper;
pub mod pdf;
pub mod plots;
pub(crate) mod result;
pub(crate) mod result_build;
pub mod table;
pub(crate) mod takes;
pub mod words;
pub mod write;

#[cfg(test)]
pub(crate) mod example;
