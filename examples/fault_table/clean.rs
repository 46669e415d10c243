//! Sessions in which nothing is wrong, and their judgement.

use scrimcheck::ingest::manifest::Condition;
use scrimcheck::ingest::session::{Recording, Session};
use scrimcheck::judge::{Judged, TakeAnalyser, TakeFacts, TakeRead, hear, judge_session};
use scrimcheck::simulate::memory::InMemory;
use scrimcheck::simulate::{Kind, Scenario, Truth, simulate};
use scrimcheck::transfer::drift::TakeDrift;
use scrimcheck::transfer::measure::Responder;
use scrimcheck::warning::Topic;

const KINDS: [Kind; 4] = [Kind::Woven, Kind::Perforated, Kind::Mixed, Kind::Unknown];

/// A clean session with its recordings and facts.
pub struct Clean {
    pub scenario: Scenario,
    pub session: Session,
    pub recordings: Vec<Recording>,
    pub facts: Vec<TakeFacts>,
    pub truth: Truth,
}

/// A session in which nothing is wrong.
pub fn scenario(index: u64) -> Scenario {
    let mut s = Scenario::random(KINDS[index as usize % KINDS.len()], 7000 + index);
    s.seats.truncate(3);
    s.spots = 2;
    s.gap_m = 0.06 + 0.01 * (index % 5) as f64;
    s.stated_gap_m = Some(s.gap_m);
    s.temperature_c = [20.0, 20.0];
    if let Some(noise) = &mut s.noise {
        // Hum is a fault of its own here.
        noise.hum = 0.0;
    }
    s
}

/// Simulated, with the facts of every take.
pub fn made(scenario: &Scenario) -> Clean {
    let memory = match InMemory::new(simulate(scenario)) {
        Ok(memory) => memory,
        Err(error) => panic!("the simulated manifest does not parse: {error}"),
    };
    let recordings: Vec<Recording> =
        (0..memory.session.takes.len()).map(|i| rounded(memory.recording(i))).collect();
    let analyser = TakeAnalyser::new(&memory.session.sweep);
    let facts = recordings.iter().map(|r| analyser.facts(r)).collect();
    Clean {
        scenario: scenario.clone(),
        session: memory.session,
        recordings,
        facts,
        truth: memory.simulated.truth,
    }
}

/// As a 24-bit file holds it.
fn rounded(mut r: Recording) -> Recording {
    let step = 8_388_608.0;
    r.mic.iter_mut().for_each(|x| *x = (*x * step).round().clamp(-step, step - 1.0) / step);
    r.integer_bits = Some(24);
    r
}

impl Clean {
    pub fn judged_with(&self, changed: Vec<(usize, Vec<f64>)>) -> Judged {
        judge(&self.session, self.reads_with(changed), [&[], &[]])
    }

    /// Judged with the clock drift read from the takes, as `check` does.
    pub fn judged_with_drift(&self) -> Judged {
        let analyser = TakeAnalyser::new(&self.session.sweep);
        let responder = Responder::new(&self.session);
        let read = |index: usize| Ok(self.recordings[index].clone());
        let heard = hear(&self.session, &analyser, &responder, &read, &|| ());
        let [without, with] = heard.drifts(&self.session);
        judge(&self.session, heard.reads, [&without, &with])
    }

    pub fn reads_with(&self, changed: Vec<(usize, Vec<f64>)>) -> Vec<TakeRead> {
        let analyser = TakeAnalyser::new(&self.session.sweep);
        let mut facts = self.facts.clone();
        for (index, mic) in changed {
            let take = Recording { mic, ..self.recordings[index].clone() };
            facts[index] = analyser.facts(&rounded(take));
        }
        facts.into_iter().map(Ok).collect()
    }

    pub fn start_s(&self, take: usize) -> f64 {
        self.facts[take].sweep.map_or(0.0, |sweep| sweep.start_s)
    }

    pub fn noise_rms(&self) -> f64 {
        let lead = &self.recordings[0].mic[..(0.3 * self.rate()) as usize];
        (lead.iter().map(|x| x * x).sum::<f64>() / lead.len() as f64).sqrt()
    }

    pub fn rate(&self) -> f64 {
        f64::from(self.session.sweep.rate_hz)
    }

    pub fn take(&self, seat: usize, condition: Condition, spot: u32) -> usize {
        let wanted = |t: &scrimcheck::ingest::session::Take| {
            (t.seat, t.condition, t.spot) == (seat, condition, spot)
        };
        self.session.takes.iter().position(wanted).unwrap_or(0)
    }
}

pub fn judge(session: &Session, reads: Vec<TakeRead>, drift: [&[TakeDrift]; 2]) -> Judged {
    let analyser = TakeAnalyser::new(&session.sweep);
    judge_session(session, &analyser, &reads, drift)
}

pub fn says(judged: &Judged, take: usize, topic: Topic) -> bool {
    judged.takes[take].findings.iter().any(|f| f.topic == topic)
}

pub fn peak(x: &[f64]) -> f64 {
    x.iter().fold(0f64, |a, x| a.max(x.abs()))
}

pub fn gain(x: &[f64], db: f64) -> Vec<f64> {
    x.iter().map(|x| x * 10f64.powf(db / 20.0)).collect()
}

pub fn mic(clean: &Clean, take: usize) -> Vec<f64> {
    clean.recordings[take].mic.clone()
}
