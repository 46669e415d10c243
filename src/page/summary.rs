//! What the result screen says before the paper itself.

use crate::analysis::claims::Verdict;
use crate::report::result::SessionResult;
use crate::report::words::{loss_finding, spread_finding};
use serde::Serialize;

/// A report in short.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Summary {
    /// What it rests on: another word is another report.
    pub inputs: String,
    findings: Vec<String>,
    claims: Vec<Claim>,
    setting: Option<String>,
    doubts: Vec<String>,
    pub files: Vec<File>,
    made_in_s: f64,
}

#[derive(Debug, Clone, Serialize)]
struct Claim {
    verdict: &'static str,
    /// As in `result.json`.
    kind: Verdict,
    sentence: String,
}

/// A file of the report.
#[derive(Debug, Clone, Serialize)]
pub(super) struct File {
    pub name: String,
    pub bytes: u64,
}

impl Summary {
    /// That of a result whose report was written.
    pub(super) fn of(
        result: &SessionResult,
        inputs: String,
        files: Vec<File>,
        made_in_s: f64,
    ) -> Self {
        let findings = [Some(loss_finding(result)), spread_finding(result)];
        Self {
            inputs,
            findings: findings.into_iter().flatten().map(|text| text + ".").collect(),
            claims: result
                .claims
                .iter()
                .map(|c| Claim {
                    verdict: c.verdict.label(),
                    kind: c.verdict,
                    sentence: c.words.sentence.clone(),
                })
                .collect(),
            setting: result.correction.as_ref().map(|c| c.words.reason.clone()),
            doubts: result.warnings.iter().map(|w| format!("{} {}", w.message, w.advice)).collect(),
            files,
            made_in_s,
        }
    }
}
