//! What sounds only with the screen hung while the sweep passes low frequencies.

use super::axes::Axis;
use super::figure::{Figure, Mark};
use super::series::{Series, Style};
use crate::judge::rattle::Rattle;
use crate::report::result::SessionResult;
use crate::report::words::rattle_range;
use crate::words::{list_words, signed};

/// High-frequency sound with the screen above that without it, against the momentary frequency
/// of the sweep; `None` where nothing rattles.
pub fn rattle_figure(result: &SessionResult) -> Option<Figure> {
    let strongest = result.rattle.iter().max_by(|a, b| a.excess_db.total_cmp(&b.excess_db))?;
    let profile = result.rattle_profile.as_ref()?;
    let points: Vec<(f64, Option<f64>)> =
        profile.frequency_hz.iter().copied().zip(profile.excess_db.iter().copied()).collect();
    let [low, high] = [points.first()?.0, points.last()?.0];
    let area = |r: &Rattle| Mark::Area { from_to: [r.low_hz, r.high_hz], label: rattle_range(r) };
    let mut marks: Vec<Mark> = result.rattle.iter().map(area).collect();
    marks.push(Mark::Limit {
        value: profile.alarm_db,
        from_to: [low, high],
        label: format!("counts from {} dB", signed(profile.alarm_db, 0)),
        is_met: false,
    });
    marks.push(Mark::Curve(Series::new("With the screen", points, Style::main()).with_dots()));
    let ranges = result.rattle.iter().map(|range| {
        let (excess, seats) = (signed(range.excess_db, 1), list_words(&range.seats));
        format!("{}: {excess} dB at {seats}.", rattle_range(range))
    });
    let mut x = Axis::around(low, high);
    x.title = "Sweep at, Hz".into();
    Some(Figure {
        id: "rattle",
        title: format!(
            "Something rattles while the sweep passes {}: {} dB more than without the screen",
            rattle_range(strongest),
            signed(strongest.excess_db, 0)
        ),
        subtitle: "Sound above 2 kHz that is there only with the screen, median over the seats"
            .into(),
        description: ranges.collect::<Vec<_>>().join(" "),
        caption: "Least of the takes with the screen over the largest of those without it. \
                  Shaded: where something rattles."
            .into(),
        x,
        y_title: "Above the takes without the screen, dB",
        include_db: [-3.0, 6.0],
        marks,
        ..Figure::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::example::example_result;
    use crate::report::result::RattleProfile;

    #[test]
    fn a_rattle_is_shaded_where_it_was_found() {
        let mut result = example_result(2);
        assert!(rattle_figure(&result).is_none());
        let range = |low_hz, high_hz, excess_db| Rattle {
            low_hz,
            high_hz,
            excess_db,
            seats: vec!["R1L".into()],
        };
        result.rattle = vec![range(40.0, 50.0, 4.0), range(90.0, 140.0, 12.4)];
        result.rattle_profile = Some(RattleProfile {
            frequency_hz: vec![45.0, 60.0, 110.0],
            excess_db: vec![Some(4.0), None, Some(12.4)],
            alarm_db: 3.0,
        });
        let figure = rattle_figure(&result).unwrap();
        assert!(figure.title.contains("90 to 140 Hz: 12 dB more"), "{}", figure.title);
        let areas = figure.marks.iter().filter(|m| matches!(m, Mark::Area { .. })).count();
        assert_eq!(areas, 2);
        assert!(figure.marks.iter().any(|m| matches!(m, Mark::Limit { value: 3.0, .. })));
    }
}
