//! Seats with ids of their own, and takes that name one of them.

use super::checker::{Checked, Checker};
use super::keys::Manifest;
use super::limits::{MAX_SEATS, MAX_TAKES};
use super::seat_id::check_id;
use super::translate::suggest;
use super::values::ABOVE_0;
use std::collections::HashMap;

/// Equal but for small and capital letters.
fn alike(one: &str, other: &str) -> bool {
    let fold = |s: &str| s.chars().flat_map(char::to_lowercase).collect::<String>();
    one.len().abs_diff(other.len()) < 8 && fold(one) == fold(other)
}

impl Checker<'_> {
    pub(super) fn seats(&self, m: &Manifest) -> Checked {
        self.at_most("seat", "seats", m.seat.len(), MAX_SEATS)?;
        let mut seen: HashMap<&str, usize> = HashMap::new();
        for (i, seat) in m.seat.iter().enumerate() {
            let place = format!("seat[{i}].id");
            self.seat_id(&place, &seat.id)?;
            if let Some(first) = seen.insert(&seat.id, i) {
                let line = self.text.line_of(&format!("seat[{first}].id"));
                return self.refuse(
                    &place,
                    format!("seat {} is already there, in line {line}", seat.id),
                    "give each seat its own id",
                );
            }
            if let Some(first) = m.seat[..i].iter().position(|s| alike(&s.id, &seat.id)) {
                let (other, line) =
                    (&m.seat[first].id, self.text.line_of(&format!("seat[{first}].id")));
                return self.refuse(
                    &place,
                    format!(
                        "seat {} differs from seat {other}, in line {line}, in small and capital \
                         letters alone",
                        seat.id
                    ),
                    "give each seat its own id: not every system tells such file names apart",
                );
            }
            if let Some(name) = &seat.name {
                self.free_text(&format!("seat[{i}].name"), name)?;
            }
            for (axis, &x) in seat.position_m.iter().flatten().enumerate() {
                // The first is the distance ahead of the loudspeaker: nobody sits behind it.
                let range = if axis == 0 { ABOVE_0..=100.0 } else { -100.0..=100.0 };
                self.number(&format!("seat[{i}].position_m[{axis}]"), x, range, "m")?;
            }
        }
        if !m.seat.is_empty() && m.seat.iter().all(|s| s.weight == 0.0) {
            return self.refuse(
                "seat[0].weight",
                "every seat has weight 0, expected at least one above 0",
                "",
            );
        }
        Ok(())
    }

    fn seat_id(&self, place: &str, id: &str) -> Checked {
        check_id(id).or_else(|problem| {
            self.refuse(place, problem.to_string(), "choose a short name such as R1C")
        })
    }

    pub(super) fn takes(&self, m: &Manifest) -> Checked {
        self.at_most("take", "takes", m.take.len(), MAX_TAKES)?;
        let ids: Vec<&str> = m.seat.iter().map(|s| s.id.as_str()).collect();
        for (i, take) in m.take.iter().enumerate() {
            self.path(&format!("take[{i}].file"), &take.file)?;
            let place = format!("take[{i}].seat");
            if ids.is_empty() {
                self.seat_id(&place, &take.seat)?;
            } else if !ids.contains(&take.seat.as_str()) {
                return self.refuse(
                    &place,
                    format!("no seat is called `{}`", take.seat),
                    format!(
                        "{}, or add a [[seat]] with this id",
                        suggest(&take.seat, &ids[..ids.len().min(24)])
                    ),
                );
            }
        }
        Ok(())
    }
}
