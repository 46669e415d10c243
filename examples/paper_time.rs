//! How long the papers of a session take: `paper_time SESSION_DIR`.
//!
//! The takes are analysed once; then plots, web page and PDF are made ten times each, from the
//! finished result, and the middle time of each is printed.

use scrimcheck::chain;
use scrimcheck::ingest::session::Session;
use scrimcheck::report::html::html_page;
use scrimcheck::report::paper::content::paper;
use scrimcheck::report::pdf::drawing::Sheet;
use scrimcheck::report::pdf::pdf;
use scrimcheck::report::plots::drawings;
use scrimcheck::report::plots::render::plot_files;
use std::error::Error;
use std::path::PathBuf;
use std::time::Instant;

fn main() -> Result<(), Box<dyn Error>> {
    let dir = std::env::args().nth(1).map(PathBuf::from).ok_or("usage: paper_time SESSION_DIR")?;
    let session = Session::open(&dir)?;
    let result = chain::analyze(&session, &|| ())?;
    let units = session.manifest.handover.units;
    let seats: Vec<String> = result.seats.iter().map(|seat| seat.id.clone()).collect();
    let drawn = drawings(&result, units);
    let content = paper(&result, &session, &drawn, None);
    println!("{} seats, {} plots", seats.len(), drawn.len());
    middle("plots as SVG, both formats", || Ok(drawings(&result, units).len()))?;
    middle("report.html, plots drawn", || Ok(html_page(&content, &seats).len()))?;
    middle("handover.pdf, plots drawn", || Ok(pdf(&content, None, &Sheet::A4)?.len()))?;
    middle("plots as PNG, both sizes", || Ok(plot_files(&drawn)?.len()))
}

/// Prints the median time of ten runs, and the size of what came out.
fn middle(
    what: &str,
    run: impl Fn() -> Result<usize, Box<dyn Error>>,
) -> Result<(), Box<dyn Error>> {
    let mut times_ms = Vec::new();
    let mut size = 0;
    for _ in 0..10 {
        let start = Instant::now();
        size = run()?;
        times_ms.push(1e3 * start.elapsed().as_secs_f64());
    }
    times_ms.sort_by(f64::total_cmp);
    println!("{what:<28} {:7.1} ms  ({size})", times_ms[5]);
    Ok(())
}
