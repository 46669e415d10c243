//! Which sweep belongs where: by the names of the files, else by options and order. More than 350
//! lines: the ways share one table of what is laid where.

use super::align::{Line, align};
use super::doubt::{Known, doubt_order};
use super::error::ImportError;
use super::found::{Fate, Survey};
use super::judge::Judged;
use super::listen::Heard;
use super::names::{Told, name_of};
use super::places::{Place, PlanOptions, in_order, spots_for};
use crate::ingest::manifest::{Condition, SoundSource, nearest};
use crate::ingest::printable::plain;
use crate::ingest::session::Session;
use crate::ingest::takes::condition_word;
use crate::judge::TakeVerdict;
use crate::transfer::resemble::likeness;
use std::collections::{BTreeMap, BTreeSet};

/// The work in hand.
struct Desk<'a> {
    session: &'a Session,
    /// One for each sweep of the survey.
    judged: &'a [&'a Judged],
    /// Indices of the sweeps of each recording.
    of_recording: Vec<Vec<usize>>,
    told: &'a [Told],
    plan: &'a PlanOptions,
    known: &'a [Known],
    survey: &'a mut Survey,
    taken: BTreeSet<Place>,
}

/// Finds the place of every sweep of the survey.
///
/// # Errors
/// [`ImportError::Plan`] where options and session do not say enough.
pub(super) fn assign(
    session: &Session,
    heard: &[Heard],
    told: &[Told],
    plan: &PlanOptions,
    known: &[Known],
    survey: &mut Survey,
) -> Result<(), ImportError> {
    let judged: Vec<&Judged> = heard.iter().flat_map(|h| &h.sweeps).map(|s| &s.judged).collect();
    let mut next = 0..;
    let of_recording = heard.iter().map(|h| next.by_ref().take(h.sweeps.len()).collect()).collect();
    let taken = BTreeSet::new();
    let mut desk =
        Desk { session, judged: &judged, of_recording, told, plan, known, survey, taken };
    for (recording, told) in told.iter().enumerate() {
        if told.seat.is_some() && !desk.of_recording[recording].is_empty() {
            desk.by_name(recording)?;
        }
    }
    desk.by_order()?;
    doubt_order(session, known, &judged, survey);
    Ok(())
}

impl Desk<'_> {
    fn plan_error<T>(problem: String, advice: impl Into<String>) -> Result<T, ImportError> {
        Err(ImportError::Plan { problem, advice: advice.into() })
    }

    fn source(&self, told: &Told) -> SoundSource {
        match told.source {
            Some(source) => source,
            None if self.plan.control => SoundSource::Control,
            None => SoundSource::Centre,
        }
    }

    /// Condition by the name, else by the options where they name one alone.
    fn condition(&self, recording: usize) -> Result<Condition, ImportError> {
        match (self.told[recording].condition, &self.plan.conditions[..]) {
            (Some(condition), _) => Ok(condition),
            (None, [condition]) => Ok(*condition),
            _ => Self::plan_error(
                format!(
                    "{}: the name does not say in which condition it was recorded",
                    self.name(recording)
                ),
                "say --condition without, with or corrected",
            ),
        }
    }

    /// File name of a recording, for people.
    fn name(&self, recording: usize) -> String {
        name_of(&self.survey.recordings[recording].path)
    }

    fn is_usable(&self, sweep: usize) -> bool {
        self.judged[sweep].verdict != TakeVerdict::Repeat
    }

    /// Places the sweeps of a recording whose name tells the seat.
    fn by_name(&mut self, recording: usize) -> Result<(), ImportError> {
        let told = &self.told[recording];
        let condition = self.condition(recording)?;
        let source = self.source(told);
        let seat_id = told.seat.clone().unwrap_or_default();
        let seat = self.session.manifest.seat.iter().position(|s| s.id == seat_id).unwrap_or(0);
        let all = self.of_recording[recording].clone();
        let wanted =
            if told.number.is_some() { Some(1) } else { self.plan.spots.map(|s| s as usize) };
        let used = self.used_of(&all, wanted);
        if let Some(wanted) = wanted.filter(|&w| w != used.len()) {
            let name = self.name(recording);
            let problem = format!(
                "{name} holds {} usable sweeps, its name and --spots ask for {wanted}",
                used.len()
            );
            let advice = "cut the recording, rename it without the number, or say --spots";
            self.survey.refusal.get_or_insert([problem, advice.into()]);
        }
        for i in all {
            if !used.contains(&i) {
                self.leave_out(i);
                continue;
            }
            let at = |spot| Place { condition, seat, seat_id: seat_id.clone(), source, spot };
            let place = match told.number {
                Some(number) => at(number),
                None => at((1..).find(|n| !self.taken.contains(&at(*n))).unwrap_or(u32::MAX)),
            };
            if !self.taken.insert(place.clone()) {
                let name = self.name(recording);
                let problem = format!("{name}: another recording is {} too", place.words());
                self.survey.refusal.get_or_insert([problem, "rename one of them".into()]);
            }
            self.put(i, place);
        }
        Ok(())
    }

    /// Those of the sweeps of a recording that are used, where `wanted` says how many should be.
    fn used_of(&self, all: &[usize], wanted: Option<usize>) -> Vec<usize> {
        let mut used: Vec<usize> = all.iter().copied().filter(|&i| self.is_usable(i)).collect();
        // The last word of somebody who gave up; `check` will ask for another.
        if used.is_empty() {
            used.extend(all.last());
        }
        // A disturbed one that was made again gives way before a good one does.
        while wanted.is_some_and(|wanted| used.len() > wanted) {
            let disturbed = |i: &usize| self.judged[*i].spoiled().is_some();
            let Some(at) = used[..used.len() - 1].iter().position(disturbed) else { break };
            used.remove(at);
        }
        used
    }

    fn put(&mut self, i: usize, place: Place) {
        let sweep = &mut self.survey.sweeps[i];
        (sweep.place, sweep.fate) = (Some(place), Fate::Take);
    }

    fn leave_out(&mut self, i: usize) {
        let why = self.judged[i].words();
        let why = why.rsplit(": ").next().unwrap_or_default().to_owned();
        self.survey.sweeps[i].fate = Fate::LeftOut(why);
    }

    /// Places the sweeps of all recordings whose names tell no seat.
    fn by_order(&mut self) -> Result<(), ImportError> {
        let pool: Vec<usize> = (0..self.told.len())
            .filter(|&r| self.told[r].seat.is_none() && !self.of_recording[r].is_empty())
            .collect();
        // Recordings of one condition belong together, in their order.
        let mut groups: Vec<(Option<Condition>, SoundSource, Vec<usize>)> = Vec::new();
        for r in pool {
            let key = (self.told[r].condition, self.source(&self.told[r]));
            match groups.iter_mut().find(|g| (g.0, g.1) == key) {
                Some(group) => group.2.extend(&self.of_recording[r]),
                None => groups.push((key.0, key.1, self.of_recording[r].clone())),
            }
        }
        for (condition, source, sweeps) in groups {
            let conditions = match condition {
                Some(condition) => vec![condition],
                None if self.plan.conditions.is_empty() => {
                    return Self::plan_error(
                        "nothing says in which condition the recordings were made".into(),
                        "say --condition without, with or corrected, or --condition without,with for a recording of both, one after the other",
                    );
                }
                None => self.plan.conditions.clone(),
            };
            self.lay(&conditions, source, &sweeps)?;
        }
        Ok(())
    }

    /// Lays sweeps along the places of these conditions.
    fn lay(
        &mut self,
        conditions: &[Condition],
        source: SoundSource,
        sweeps: &[usize],
    ) -> Result<(), ImportError> {
        let seats = self.seats()?;
        let is_control = source == SoundSource::Control;
        let n_usable = sweeps.iter().filter(|&&i| self.is_usable(i)).count();
        let (spots, why) = spots_for(
            self.plan.spots,
            is_control,
            &self.spots_elsewhere(conditions),
            n_usable,
            seats.len() * conditions.len(),
        );
        let words: Vec<&str> = conditions.iter().map(|c| condition_word(*c)).collect();
        let ids: Vec<String> = seats.iter().map(|s| plain(&s.1)).collect();
        self.survey.notes.push(format!(
            "{}: {}, {} ({why}).",
            words.join(", then "),
            ids.join(", "),
            if is_control { "control loudspeaker" } else { "main loudspeaker" },
        ));
        let mut places = in_order(&seats, conditions, source, spots);
        places.retain(|place| !self.taken.contains(place));
        let laid = self.likeliest(&places, sweeps, source);
        let mut too_much = Vec::new();
        for (&sweep, place) in sweeps.iter().zip(&laid) {
            match place {
                Some(j) => {
                    self.taken.insert(places[*j].clone());
                    self.put(sweep, places[*j].clone());
                }
                None if self.judged[sweep].spoiled().is_some() => self.leave_out(sweep),
                None => too_much.push(sweep),
            }
        }
        let n_places = places.len();
        let missing: Vec<Place> = (places.into_iter().enumerate())
            .filter(|(j, _)| !laid.contains(&Some(*j)))
            .map(|(_, place)| place)
            .collect();
        if !missing.is_empty() || !too_much.is_empty() {
            self.refuse_number(n_places, n_usable, &missing, &too_much);
        }
        self.survey.missing.extend(missing);
        Ok(())
    }

    /// The place of each sweep; `None` for those that are left out or too many.
    fn likeliest(
        &self,
        places: &[Place],
        sweeps: &[usize],
        source: SoundSource,
    ) -> Vec<Option<usize>> {
        if places.len() == sweeps.len() {
            // The number fits: what does not fit is said, not rearranged.
            return (0..sweeps.len()).map(Some).collect();
        }
        let spoiled: Vec<bool> =
            sweeps.iter().map(|&i| self.judged[i].spoiled().is_some()).collect();
        let print = |k: usize| self.judged[sweeps[k]].print.as_ref();
        let alike = |a: usize, b: usize| Some(likeness(print(a)?, print(b)?));
        let known = |k: usize, j: usize| {
            let own = print(k).filter(|_| source == SoundSource::Centre)?;
            let of_seat = self.known.iter().filter(|t| t.seat == places[j].seat);
            of_seat.map(|t| likeness(own, &t.print)).reduce(f64::max)
        };
        let groups: Vec<usize> = places.iter().map(|p| p.seat).collect();
        align(&Line { spoiled: &spoiled, groups: &groups, likeness: &alike, known: &known }).0
    }

    fn refuse_number(
        &mut self,
        n_places: usize,
        n_usable: usize,
        missing: &[Place],
        too_much: &[usize],
    ) {
        let list = |words: Vec<String>| words.join("; ");
        let gaps = list(missing.iter().map(Place::words).collect());
        let starts = too_much.iter().map(|&i| clock(self.survey.sweeps[i].start_s));
        let extras = list(starts.collect());
        let mut problem =
            format!("the plan has {n_places} takes, {n_usable} usable sweeps were found");
        if !missing.is_empty() {
            problem += &format!("; by levels and responses the likeliest gap is {gaps}");
        }
        if !too_much.is_empty() {
            problem += &format!("; the likeliest too many begin at {extras}");
        }
        self.survey.refusal.get_or_insert([
            problem,
            "say --seats and --spots as it was recorded, record what is missing, or cut the \
             recording in parts and name each after its seat"
                .into(),
        ]);
    }

    /// Seats in the order in which they were recorded.
    fn seats(&self) -> Result<Vec<(usize, String)>, ImportError> {
        let all = &self.session.manifest.seat;
        if all.is_empty() {
            return Self::plan_error(
                "session.toml names no seat".into(),
                "add a [[seat]] for each, in the order in which they are recorded",
            );
        }
        if self.plan.seats.is_empty() {
            return Ok(all.iter().enumerate().map(|(i, s)| (i, s.id.clone())).collect());
        }
        let ids: Vec<&str> = all.iter().map(|s| s.id.as_str()).collect();
        let mut seats: Vec<(usize, String)> = Vec::new();
        for id in &self.plan.seats {
            let Some(at) = ids.iter().position(|i| i == id || i.eq_ignore_ascii_case(id)) else {
                let near =
                    nearest(id, &ids).map_or(String::new(), |n| format!("did you mean {n}? "));
                return Self::plan_error(
                    format!("--seats: there is no seat {}", plain(id)),
                    format!("{near}the seats of this session are {}", ids.join(", ")),
                );
            };
            if seats.iter().any(|s| s.0 == at) {
                return Self::plan_error(
                    format!("--seats: {} stands there twice", plain(id)),
                    "name each seat once",
                );
            }
            seats.push((at, ids[at].to_owned()));
        }
        Ok(seats)
    }

    /// Spots of each seat in the other conditions: takes that are there, and named recordings.
    fn spots_elsewhere(&self, conditions: &[Condition]) -> BTreeMap<(usize, Condition), u32> {
        let mut count = BTreeMap::new();
        let there = self.session.takes.iter().filter(|t| t.source == SoundSource::Centre);
        let keys = there.map(|t| (t.seat, t.condition)).chain(
            self.taken
                .iter()
                .filter(|p| p.source == SoundSource::Centre)
                .map(|p| (p.seat, p.condition)),
        );
        for key in keys.filter(|k| !conditions.contains(&k.1)) {
            *count.entry(key).or_insert(0) += 1;
        }
        count
    }
}

/// A time in a recording: 1:02:03.4.
pub(super) fn clock(s: f64) -> String {
    let tenths = (s.max(0.0) * 10.0).round() as u64;
    let (minutes, rest) = (tenths / 600, tenths % 600);
    let tail = format!("{:02}:{:02}.{}", minutes % 60, rest / 10, rest % 10);
    if minutes >= 60 { format!("{}:{tail}", minutes / 60) } else { tail }
}
