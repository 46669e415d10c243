//! What is wrong with a sweep that was found, by the rules that `check` has for takes.

use crate::ingest::session::{Recording, SweepSignal};
use crate::judge::finding::worst;
use crate::judge::{Finding, TakeAnalyser, TakeVerdict, judge_take};
use crate::transfer::deconvolve::Deconvolver;
use crate::transfer::resemble::{Print, print_of};
use crate::warning::Topic;

/// Plans for all sweeps of a session.
pub(super) struct Judge<'a> {
    sweep: &'a SweepSignal,
    analyser: TakeAnalyser,
    deconvolver: Deconvolver,
}

/// What was found about one sweep.
#[derive(Debug, Clone)]
pub(super) struct Judged {
    pub verdict: TakeVerdict,
    pub findings: Vec<Finding>,
    /// Largest magnitude, dB re full scale; `None` for silence.
    pub peak_dbfs: Option<f64>,
    /// How much more slowly it runs than the played signal, where that is another signal's
    /// business: 0.0884 for 48 kHz played at 44.1.
    pub wrong_pace: Option<f64>,
    /// For telling seats apart; `None` where there is no response.
    pub print: Option<Print>,
}

/// A pace off by more than this is no clock's error.
const PACE: f64 = 0.01;
/// Part of the sweep that must be recognised before its pace means anything.
const SHARE: f64 = 0.5;

impl<'a> Judge<'a> {
    /// For takes of up to `n_samples` at the rate of the session.
    pub(super) fn new(sweep: &'a SweepSignal, n_samples: usize) -> Self {
        Self {
            sweep,
            analyser: TakeAnalyser::new(sweep),
            deconvolver: Deconvolver::new(sweep, n_samples),
        }
    }

    pub(super) fn judge(&self, mic: Vec<f64>) -> Judged {
        let recording = Recording::of_microphone(self.sweep.rate_hz, mic, None);
        let facts = self.analyser.facts(&recording);
        let findings = judge_take(&facts, self.sweep.rate_hz);
        let peak = facts.amplitudes.peak;
        let wrong_pace = facts
            .sweep
            .filter(|s| s.share >= SHARE && s.slowness.abs() > PACE.max(s.slowness_error))
            .map(|s| s.slowness);
        let print = print_of(
            &self.deconvolver.into_response(recording.mic, None, None),
            f64::from(self.sweep.rate_hz),
        );
        Judged {
            verdict: worst(&findings),
            findings,
            peak_dbfs: (peak > 0.0 && peak.is_finite()).then(|| 20.0 * peak.log10()),
            wrong_pace,
            print,
        }
    }
}

impl Judged {
    /// Why the take would be made again, where a repeat follows it.
    pub(super) fn spoiled(&self) -> Option<&Finding> {
        let spoils = |f: &&Finding| {
            f.verdict == TakeVerdict::Repeat
                || (f.verdict == TakeVerdict::Doubt && f.topic == Topic::Disturbance)
        };
        self.findings.iter().filter(spoils).max_by_key(|f| f.verdict)
    }

    /// Whether this is no recording of the session's sweep.
    pub(super) fn is_another_signal(&self) -> bool {
        self.findings.iter().any(|f| f.topic == Topic::WrongSignal)
    }

    /// In a word or two, for the table.
    pub(super) fn words(&self) -> String {
        let Some(worst) = self.findings.iter().max_by_key(|f| f.verdict) else {
            return "good".into();
        };
        match worst.verdict {
            TakeVerdict::Good => "good".into(),
            verdict => format!("{}: {}", verdict.label(), topic_words(worst.topic)),
        }
    }
}

fn topic_words(topic: Topic) -> &'static str {
    match topic {
        Topic::Clipping => "clipped",
        Topic::LowLevel => "too low",
        Topic::Noise => "noise",
        Topic::Hum => "hum",
        Topic::Truncation => "cut off",
        Topic::DoubleSweep => "two sweeps at once",
        Topic::Disturbance => "disturbed",
        Topic::WrongSignal => "not the whole sweep",
        _ => "see below",
    }
}
