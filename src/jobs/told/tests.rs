//! What is shared holds no client's name, and no figure that is not there.

use super::*;
use crate::jobs::again::again;
use crate::jobs::choose::choose;
use crate::jobs::collect::Job;
use crate::jobs::room::Room;
use crate::jobs::sheets::{NameRules, sheets_over_jobs};
use crate::jobs::stored::StoredResult;
use crate::report::example::example_result;
use crate::report::json::json_text;
use crate::report::plots::render::NamedFile;

/// Four jobs of two sheets; titles name clients.
fn jobs() -> Vec<Job> {
    (0..6)
        .map(|i| {
            let mut result = example_result(3);
            result.title = format!("Secret Client {i}");
            result.screen.name = Some(["Open <weave>", "=Film"][i % 2].to_owned());
            let more = 0.1 * i as f64 + [0.0, 2.0][i % 2];
            result.mean.loss_db.iter_mut().flatten().for_each(|l| *l += more);
            let bytes = json_text(&result).unwrap();
            let result = StoredResult::parse(&bytes).unwrap();
            Job { folder: format!("jobs/{i}").into(), result, redone: None }
        })
        .collect()
}

fn text(files: &[NamedFile], name: &str) -> String {
    let (_, bytes) = files.iter().find(|(n, _)| n == name).unwrap_or_else(|| panic!("{name}"));
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn client_names_are_told_only_where_they_are_asked_for() {
    let jobs = jobs();
    for with_names in [false, true] {
        let rules = NameRules { with_names, ..NameRules::default() };
        let over = sheets_over_jobs(&jobs, &rules).unwrap();
        let files = sheets_files(&over).unwrap();
        for name in ["sheets.html", "sheets.json"] {
            assert_eq!(text(&files, name).contains("Secret Client"), with_names, "{name}");
        }
        for (name, bytes) in &files {
            let told = String::from_utf8_lossy(bytes).contains("Secret");
            assert!(!told || with_names, "{name}");
        }
        let pair = again(&jobs[0].result, &jobs[2].result, with_names);
        let files = again_files(&pair).unwrap();
        assert_eq!(text(&files, "again.html").contains("Secret Client"), with_names);
    }
}

#[test]
fn papers_hold_the_figures_of_the_document_and_escape_names() {
    let over = sheets_over_jobs(&jobs(), &NameRules::default()).unwrap();
    let mean = over.sheets[0].mean_loss_db;
    let files = sheets_files(&over).unwrap();
    let (html, csv) = (text(&files, "sheets.html"), text(&files, "sheets.csv"));
    assert!(!html.contains("<weave>") && html.contains("&lt;weave&gt;"));
    assert!(csv.contains("'=Film,") && !csv.contains("\n=Film"), "a name became a formula");
    assert!(text(&files, "sheets.pdf").starts_with("%PDF"));
    // 125 Hz is absent in the example: the headline from 500 Hz is not.
    let mean = mean.expect("a mean from 500 Hz");
    let shown = format!("{:.2} \u{b1} {:.2}", mean.mean, mean.u95.unwrap());
    assert!(html.contains(&shown), "{shown}");
    assert!(sheets_table(&over).contains(&shown));
    assert!(!csv.contains("NaN") && csv.lines().next().unwrap().starts_with("sheet,quantity,"));
    let json: serde_json::Value = serde_json::from_str(&text(&files, "sheets.json")).unwrap();
    assert_eq!((&json["format"], &json["version"]), (&"scrimcheck-sheets".into(), &1.into()));
}

#[test]
fn a_copied_job_is_no_further_room() {
    let mut jobs = jobs();
    jobs.push(Job { folder: "jobs/copy".into(), ..jobs[0].clone() });
    let over = sheets_over_jobs(&jobs, &NameRules::default()).unwrap();
    assert_eq!((over.n_jobs, over.n_copies), (7, 1));
    assert!(over.sheets.iter().all(|s| s.rooms.len() == 3));
    assert!(sheets_statement(&over).iter().any(|s| s.contains("copies of others")));
}

#[test]
fn the_choice_ranks_what_is_shown_and_says_what_is_not() {
    let jobs = jobs();
    let choice =
        choose(&jobs, &[], Room { gap_m: Some(0.08), ..Room::default() }, &NameRules::default());
    let choice = choice.unwrap();
    assert_eq!(choice.candidates[0].name, "Open <weave>");
    assert_eq!((choice.candidates[0].rank, choice.candidates[1].rank), (1, 2));
    assert!(choice.pairs[0].shown);
    let files = choice_files(&choice).unwrap();
    assert!(text(&files, "choice.html").contains("loses more"));
    assert!(choice_table(&choice).contains("measured in 3 rooms"));
    let same = choose(&jobs[..1], &[], Room::default(), &NameRules::default()).unwrap();
    assert!(choice_statement(&same)[0].contains("only sheet known"));
}
