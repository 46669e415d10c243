//! Which sweep belongs where: by the names of the files, else by options and order. More than 400
//! lines: the ways share one table of what is laid where.

use super::align::{Line, align, points};
use super::error::ImportError;
use super::listen::{Heard, HeardSweep};
use super::names::Told;
use super::places::{Place, PlanOptions, condition_word, in_order, spots_for};
use super::survey::{Fate, name_of};
use crate::ingest::manifest::{Condition, SoundSource, nearest};
use crate::ingest::printable::plain;
use crate::ingest::session::Session;
use crate::judge::TakeVerdict;
use crate::transfer::resemble::{Print, likeness};
use std::collections::{BTreeMap, BTreeSet};

/// A take that is there, or a sweep whose place is known.
pub(super) struct Known {
    pub seat: usize,
    pub condition: Condition,
    pub print: Print,
}

/// A sweep with its place.
#[derive(Clone)]
pub(super) struct Assigned {
    pub place: Option<Place>,
    pub fate: Fate,
    pub rather: Option<String>,
}

/// All sweeps with their places.
pub(super) struct Assignment {
    /// In the order of recordings and time.
    pub sweeps: Vec<Assigned>,
    pub missing: Vec<Place>,
    pub refusal: Option<[String; 2]>,
    pub order_doubt: Option<String>,
    pub notes: Vec<String>,
}

/// How many times as far from its own seat as from another a sweep must be before that is said.
const RATHER: f64 = 3.0;

/// The work in hand.
struct Desk<'a> {
    session: &'a Session,
    sweeps: Vec<&'a HeardSweep>,
    /// Indices of the sweeps of each recording.
    of_recording: Vec<Vec<usize>>,
    names: Vec<String>,
    told: &'a [Told],
    plan: &'a PlanOptions,
    known: &'a [Known],
    out: Assignment,
    taken: BTreeSet<Place>,
}

/// Finds the place of every sweep.
///
/// # Errors
/// [`ImportError::Plan`] where options and session do not say enough.
pub(super) fn assign(
    session: &Session,
    heard: &[Heard],
    told: &[Told],
    plan: &PlanOptions,
    known: &[Known],
) -> Result<Assignment, ImportError> {
    let sweeps: Vec<&HeardSweep> = heard.iter().flat_map(|h| &h.sweeps).collect();
    let mut next = 0..;
    let of_recording = heard.iter().map(|h| next.by_ref().take(h.sweeps.len()).collect()).collect();
    let nowhere = Assigned { place: None, fate: Fate::TooMuch, rather: None };
    let mut desk = Desk {
        session,
        of_recording,
        names: heard.iter().map(|h| name_of(&h.path)).collect(),
        told,
        plan,
        known,
        taken: BTreeSet::new(),
        out: Assignment {
            sweeps: vec![nowhere; sweeps.len()],
            missing: Vec::new(),
            refusal: None,
            order_doubt: None,
            notes: Vec::new(),
        },
        sweeps,
    };
    for (recording, told) in told.iter().enumerate() {
        if told.seat.is_some() && !desk.of_recording[recording].is_empty() {
            desk.by_name(recording)?;
        }
    }
    desk.by_order()?;
    desk.doubt_order();
    Ok(desk.out)
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
                    self.names[recording]
                ),
                "say --condition without, with or corrected",
            ),
        }
    }

    /// Places the sweeps of a recording whose name tells the seat.
    fn by_name(&mut self, recording: usize) -> Result<(), ImportError> {
        let told = &self.told[recording];
        let condition = self.condition(recording)?;
        let source = self.source(told);
        let seat_id = told.seat.clone().unwrap_or_default();
        let seat = self.session.manifest.seat.iter().position(|s| s.id == seat_id).unwrap_or(0);
        let all = self.of_recording[recording].clone();
        let is_good = |i: &usize| self.sweeps[*i].judged.verdict != TakeVerdict::Repeat;
        let mut used: Vec<usize> = all.iter().copied().filter(is_good).collect();
        // The last word of somebody who gave up; `check` will ask for another.
        if used.is_empty() {
            used.extend(all.last());
        }
        let wanted =
            if told.number.is_some() { Some(1) } else { self.plan.spots.map(|s| s as usize) };
        if let Some(wanted) = wanted.filter(|&w| w != used.len()) {
            // A disturbed one that was made again gives way before a good one does.
            let disturbed = |i: &usize| self.sweeps[*i].judged.spoiled().is_some();
            while used.len() > wanted {
                let Some(at) = used[..used.len() - 1].iter().position(disturbed) else { break };
                used.remove(at);
            }
        }
        if let Some(wanted) = wanted.filter(|&w| w != used.len()) {
            self.out.refusal.get_or_insert([
                format!(
                    "{} holds {} usable sweeps, its name and --spots ask for {wanted}",
                    self.names[recording],
                    used.len()
                ),
                "cut the recording, rename it without the number, or say --spots".into(),
            ]);
        }
        for i in all {
            if !used.contains(&i) {
                self.leave_out(i);
                continue;
            }
            let free = |spot: &u32| {
                !self.taken.contains(&Place {
                    condition,
                    seat,
                    seat_id: seat_id.clone(),
                    source,
                    spot: *spot,
                })
            };
            let spot = match told.number {
                Some(number) => number,
                None => (1..).find(free).unwrap_or(u32::MAX),
            };
            let place = Place { condition, seat, seat_id: seat_id.clone(), source, spot };
            if !self.taken.insert(place.clone()) {
                self.out.refusal.get_or_insert([
                    format!(
                        "{}: another recording is {} too",
                        self.names[recording],
                        place.words()
                    ),
                    "rename one of them".into(),
                ]);
            }
            self.put(i, place);
        }
        Ok(())
    }

    fn put(&mut self, i: usize, place: Place) {
        self.out.sweeps[i] = Assigned { place: Some(place), fate: Fate::Take, rather: None };
    }

    fn leave_out(&mut self, i: usize) {
        let why = self.sweeps[i].judged.words();
        let why = why.rsplit(": ").next().unwrap_or_default().to_owned();
        self.out.sweeps[i] = Assigned { place: None, fate: Fate::LeftOut(why), rather: None };
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
        let n_usable = sweeps
            .iter()
            .filter(|&&i| self.sweeps[i].judged.verdict != TakeVerdict::Repeat)
            .count();
        let (spots, why) = spots_for(
            self.plan.spots,
            source == SoundSource::Control,
            &self.spots_elsewhere(conditions),
            n_usable,
            seats.len() * conditions.len(),
        );
        let mut places = in_order(&seats, conditions, source, spots);
        places.retain(|place| !self.taken.contains(place));
        let spoiled: Vec<bool> =
            sweeps.iter().map(|&i| self.sweeps[i].judged.spoiled().is_some()).collect();
        let print = |k: usize| self.sweeps[sweeps[k]].judged.print.as_ref();
        let alike = |a: usize, b: usize| Some(likeness(print(a)?, print(b)?));
        let centre = source == SoundSource::Centre;
        let known = |k: usize, j: usize| {
            let own = print(k).filter(|_| centre)?;
            let of_seat = self.known.iter().filter(|t| t.seat == places[j].seat);
            of_seat.map(|t| likeness(own, &t.print)).reduce(f64::max)
        };
        let groups: Vec<usize> = places.iter().map(|p| p.seat).collect();
        let line = Line { spoiled: &spoiled, groups: &groups, likeness: &alike, known: &known };
        let laid = if places.len() == sweeps.len() {
            // The number fits: what does not fit is said, not rearranged.
            (0..sweeps.len()).map(Some).collect()
        } else {
            align(&line).0
        };
        self.out.notes.push(format!(
            "{}: {}, {} ({why}).",
            plain(
                &conditions.iter().map(|c| condition_word(*c)).collect::<Vec<_>>().join(", then ")
            ),
            seats.iter().map(|s| plain(&s.1)).collect::<Vec<_>>().join(", "),
            if source == SoundSource::Control { "control loudspeaker" } else { "main loudspeaker" },
        ));
        let mut too_much = Vec::new();
        for (k, place) in laid.iter().enumerate() {
            match place {
                Some(j) => {
                    self.taken.insert(places[*j].clone());
                    self.put(sweeps[k], places[*j].clone());
                }
                None if spoiled[k] => self.leave_out(sweeps[k]),
                None => too_much.push(k),
            }
        }
        let missing: Vec<Place> = (0..places.len())
            .filter(|j| !laid.contains(&Some(*j)))
            .map(|j| places[j].clone())
            .collect();
        if !missing.is_empty() || !too_much.is_empty() {
            self.refuse_number(places.len(), n_usable, &missing, &too_much, sweeps);
        }
        self.out.missing.extend(missing);
        Ok(())
    }

    fn refuse_number(
        &mut self,
        n_places: usize,
        n_usable: usize,
        missing: &[Place],
        too_much: &[usize],
        sweeps: &[usize],
    ) {
        let list = |words: Vec<String>| words.join("; ");
        let gaps = list(missing.iter().map(Place::words).collect());
        let extras =
            list(too_much.iter().map(|&k| clock(self.sweeps[sweeps[k]].start_s)).collect());
        let mut problem =
            format!("the plan has {n_places} takes, {n_usable} usable sweeps were found");
        if !missing.is_empty() {
            problem += &format!("; by levels and responses the likeliest gap is {gaps}");
        }
        if !too_much.is_empty() {
            problem += &format!("; the likeliest too many begin at {extras}");
        }
        self.out.refusal.get_or_insert([
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

    /// Looks whether sweeps resemble the takes of another seat, in another condition, clearly
    /// more than those of their own.
    fn doubt_order(&mut self) {
        let mut refs: Vec<(usize, Condition, &Print)> =
            self.known.iter().map(|k| (k.seat, k.condition, &k.print)).collect();
        let placed: Vec<(usize, Place, &Print)> = self
            .out
            .sweeps
            .iter()
            .enumerate()
            .filter_map(|(i, s)| {
                let place = s.place.clone().filter(|p| p.source == SoundSource::Centre)?;
                Some((i, place, self.sweeps[i].judged.print.as_ref()?))
            })
            .collect();
        refs.extend(placed.iter().map(|(_, p, print)| (p.seat, p.condition, *print)));
        let mut rather: Vec<(usize, usize, usize)> = Vec::new();
        for (i, place, print) in &placed {
            let mut of_seat: BTreeMap<usize, f64> = BTreeMap::new();
            for (seat, condition, other) in &refs {
                if *condition != place.condition {
                    let best = of_seat.entry(*seat).or_insert(f64::NEG_INFINITY);
                    *best = best.max(likeness(print, other));
                }
            }
            let (Some(own), Some(best)) = (
                of_seat.get(&place.seat).copied(),
                of_seat.iter().max_by(|a, b| a.1.total_cmp(b.1)),
            ) else {
                continue;
            };
            if 1.0 - own > RATHER * (1.0 - best.1) && points(Some(*best.1)) > 0.0 {
                rather.push((*i, place.seat, *best.0));
            }
        }
        let id = |seat: usize| self.session.manifest.seat[seat].id.clone();
        let pairs: BTreeSet<(usize, usize)> = rather.iter().map(|r| (r.1, r.2)).collect();
        for (i, _, seat) in &rather {
            self.out.sweeps[*i].rather = Some(id(*seat));
        }
        if !pairs.is_empty() {
            let said: Vec<String> = pairs
                .iter()
                .map(|(own, other)| {
                    format!("what stands for seat {} resembles seat {}", id(*own), id(*other))
                })
                .collect();
            self.out.order_doubt = Some(said.join("; "));
        }
    }
}

/// A time in a recording: 1:02:03.4.
pub(super) fn clock(s: f64) -> String {
    let tenths = (s.max(0.0) * 10.0).round() as u64;
    let (minutes, rest) = (tenths / 600, tenths % 600);
    let tail = format!("{:02}:{:02}.{}", minutes % 60, rest / 10, rest % 10);
    if minutes >= 60 { format!("{}:{tail}", minutes / 60) } else { tail }
}
