//! The next rooms: does the choice rank by truth wherever it shows a difference?

use crate::pools::room;
use scrimcheck::jobs::choose::choose;
use scrimcheck::jobs::collect::Job;
use scrimcheck::jobs::room::{Room, RoomSeat};
use scrimcheck::jobs::sheets::NameRules;
use scrimcheck::simulate::simulate;

/// New rooms.
const ROOMS: u64 = 25;

/// Predicts every sheet in rooms where none of them hung, and holds it against the truth there.
pub fn next_rooms(jobs: &[Job], seed: u64) {
    let (mut shown, mut wrong, mut pairs) = (0, 0, 0);
    let (mut held, mut predicted, mut first_right) = (0, 0, 0);
    for i in 0..ROOMS {
        let seed = seed + 500_000 + i;
        let truths: Vec<(String, f64)> = NAMES
            .iter()
            .enumerate()
            .map(|(number, name)| {
                let scenario = room(number as u64, seed).shortened(0.1, 0.01);
                let truth = simulate(&scenario).truth;
                let judged: Vec<f64> = truth
                    .bands
                    .iter()
                    .zip(&truth.mean)
                    .filter(|(b, _)| (499.0..=16_001.0).contains(&b.nominal_hz()))
                    .map(|(_, l)| *l)
                    .collect();
                ((*name).to_owned(), judged.iter().sum::<f64>() / judged.len() as f64)
            })
            .collect();
        let scenario = room(0, seed);
        let seats = (0..scenario.seats.len()).map(|s| RoomSeat {
            id: scenario.seats[s].id.clone(),
            distance_m: Some(scenario.seats[s].position_m[0] - scenario.gap_m),
            cosine: scenario.seat_cosine(s),
        });
        let next = Room { gap_m: scenario.stated_gap_m, seats: seats.collect(), ..Room::default() };
        let choice = choose(jobs, &[], next, &NameRules::default()).expect("names of one spelling");
        let key = scrimcheck::jobs::names::name_key;
        let truth_of = |name: &str| {
            truths.iter().find(|(n, _)| key(n) == key(name)).map_or(f64::NAN, |(_, t)| *t)
        };
        for c in &choice.candidates {
            predicted += 1;
            let u = c.mean_loss_db.u95.unwrap_or(0.0);
            held += usize::from((c.mean_loss_db.value - truth_of(&c.name)).abs() <= u);
        }
        for p in &choice.pairs {
            pairs += 1;
            if p.shown {
                shown += 1;
                let [a, b] = p.names.each_ref().map(|n| truth_of(n));
                wrong += usize::from((a - b).signum() != p.difference_db.signum());
            }
        }
        let least = truths.iter().min_by(|a, b| a.1.total_cmp(&b.1)).map(|(n, _)| key(n));
        let first = choice.candidates.iter().filter(|c| c.rank == 1);
        first_right += usize::from(first.map(|c| key(&c.name)).any(|n| Some(n) == least));
    }
    println!("\n| {ROOMS} next rooms, 6 sheets each | |\n|---|---|");
    println!("| pairs with a difference shown | {shown} of {pairs} |");
    println!("| of these against the truth | {wrong} |");
    println!("| the truly best sheet among those ranked first | {first_right} of {ROOMS} |");
    println!(
        "| truth inside the predicted interval | {held} of {predicted} ({:.1} %) |",
        100.0 * held as f64 / predicted as f64
    );
}

/// In the order of their numbers.
const NAMES: [&str; 6] = [
    "Invented weave 1",
    "Invented weave 2",
    "Invented weave 3",
    "Invented weave 4",
    "Invented film 1",
    "Invented film 2",
];
