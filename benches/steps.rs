//! Each heavy step of the reference session: `cargo bench -p scrimcheck-benches --bench steps`.

use criterion::{Criterion, criterion_group, criterion_main};
use scrimcheck::analysis::joint;
use scrimcheck::analysis::loss::losses;
use scrimcheck::chain::{analyze, explain, find_gap};
use scrimcheck::ingest::session::Session;
use scrimcheck::judge::TakeAnalyser;
use scrimcheck::report::html::html_page;
use scrimcheck::report::json::json_text;
use scrimcheck::report::paper::content::paper;
use scrimcheck::report::pdf::drawing::Sheet;
use scrimcheck::report::pdf::pdf;
use scrimcheck::report::plots::drawings;
use scrimcheck::report::plots::render::{plot_files, pngs};
use scrimcheck::report::write::report_files;
use scrimcheck::transfer::deconvolve::Deconvolver;
use scrimcheck::transfer::measure::measure;
use scrimcheck::transfer::take::TakePlan;
use scrimcheck_benches::reference;
use std::hint::black_box;

fn takes(c: &mut Criterion) {
    let (_home, session) = reference();
    let mut group = c.benchmark_group("one take");
    group.sample_size(20);
    group.bench_function("read", |b| {
        b.iter(|| black_box(session.read_take(&session.takes[0]).expect("a take")));
    });
    let recordings: Vec<_> =
        session.takes[..4].iter().map(|t| session.read_take(t).expect("a take")).collect();
    let deconvolver = Deconvolver::new(&session.sweep, recordings[0].mic.len());
    group.bench_function("deconvolution", |b| {
        b.iter(|| black_box(deconvolver.response(&recordings[0].mic, None, None)));
    });
    let plan = TakePlan::new(&session.sweep);
    group.bench_function("deconvolution and all that is read off it", |b| {
        b.iter(|| black_box(plan.respond(0, recordings[0].clone(), &deconvolver, None)));
    });
    let analyser = TakeAnalyser::new(&session.sweep);
    group.bench_function("judgement", |b| {
        b.iter(|| black_box(analyser.facts(&recordings[0])));
    });
    group.finish();
}

fn session_steps(c: &mut Criterion) {
    let (_home, session) = reference();
    let mut group = c.benchmark_group("session");
    group.sample_size(10);
    group.bench_function("open", |b| {
        b.iter(|| black_box(Session::open(&session.root).expect("a session")));
    });
    let read = |take: usize| session.read_take(&session.takes[take]);
    let transfers = || measure(&session, &read, session.manifest.screen.gap_m, &|| ());
    group.bench_function("takes to transmissions", |b| {
        b.iter(|| black_box(transfers().expect("takes")));
    });
    let measured = transfers().expect("takes");
    group.bench_function("joint fit of sheet and front", |b| {
        b.iter(|| black_box(joint::fit(&measured.plan, &measured.seats)));
    });
    group.bench_function("joint fit, losses, uncertainty", |b| {
        b.iter(|| black_box(losses(&session.manifest, &measured, &measured.seats)));
    });
    let (table, _) = losses(&session.manifest, &measured, &measured.seats);
    group.bench_function("kind of loss and gap", |b| {
        b.iter(|| {
            black_box({
                let gap = find_gap(&session.manifest, &measured);
                explain(&session.manifest, &measured, &table, gap.as_ref())
            })
        });
    });
    group.bench_function("computing, all of it", |b| {
        b.iter(|| black_box(analyze(&session, &|| ()).expect("a session")));
    });
    group.finish();
}

fn report(c: &mut Criterion) {
    let (_home, session) = reference();
    let result = analyze(&session, &|| ()).expect("a session that can be analysed");
    let units = session.manifest.handover.units;
    let mut group = c.benchmark_group("report");
    group.sample_size(10);
    group.bench_function("JSON", |b| b.iter(|| black_box(json_text(&result).expect("JSON"))));
    group.bench_function("plots as SVG", |b| b.iter(|| black_box(drawings(&result, units))));
    let plots = drawings(&result, units);
    group.bench_function("one PNG", |b| {
        b.iter(|| black_box(pngs(plots[0].id, &plots[0].svg).expect("pictures")));
    });
    group.bench_function(format!("{} plots as files, PNG in two sizes", plots.len()), |b| {
        b.iter(|| black_box(plot_files(&plots).expect("pictures")));
    });
    let paper = paper(&result, &session, &plots, None);
    let seats: Vec<String> = result.seats.iter().map(|seat| seat.id.clone()).collect();
    group.bench_function("HTML", |b| b.iter(|| black_box(html_page(&paper, &seats))));
    group.bench_function("PDF", |b| {
        b.iter(|| black_box(pdf(&paper, None, &Sheet::A4).expect("a document")));
    });
    group.bench_function("every file", |b| {
        b.iter(|| black_box(report_files(&result, &session).expect("a report")));
    });
    group.finish();
}

criterion_group!(benches, takes, session_steps, report);
criterion_main!(benches);
