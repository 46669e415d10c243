//! The uncertainty budget as the result document tells it: terms by band.

use super::result::BudgetTerm;
use crate::analysis::budget::{Budget, Term};

/// Every term of the budget, root mean square over the seats with values.
///
/// `n_seats` and `n_bands` are those the budget was made for.
pub fn budget_terms(budget: &Budget, n_seats: usize, n_bands: usize) -> Vec<BudgetTerm> {
    let mut found: Vec<(Term, bool)> = Vec::new();
    for seat in 0..n_seats {
        for band in 0..n_bands {
            for t in &budget.seat(seat, band).terms {
                if !found.contains(&(t.term, t.common)) {
                    found.push((t.term, t.common));
                }
            }
        }
    }
    let u_db = |kind: (Term, bool), band: usize| {
        let terms = (0..n_seats).flat_map(|seat| &budget.seat(seat, band).terms);
        let own = terms.filter(|t| (t.term, t.common) == kind);
        let squares: f64 = own.map(|t| t.u_db * t.u_db).sum();
        let u = (squares / n_seats as f64).sqrt();
        (u > 0.0 && u.is_finite()).then_some((u * 1e6).round() / 1e6)
    };
    let term = |(term, common)| {
        let (name, origin) = words(term);
        let u_db = (0..n_bands).map(|band| u_db((term, common), band)).collect();
        BudgetTerm { term: name.to_owned(), origin: origin.to_owned(), common, u_db }
    };
    found.into_iter().map(term).collect()
}

/// Name and origin of a term.
fn words(term: Term) -> (&'static str, &'static str) {
    match term {
        Term::Spots => ("spots", "scatter between microphone placements at the same seat"),
        Term::Placement => {
            ("placement", "one placement only: how far the microphone may be off its mark")
        }
        Term::Echo => ("echo", "echoes between sheet and loudspeaker"),
        Term::Model => ("model", "how far the loss moves where the fit assumes otherwise"),
        Term::UnknownGap => ("unknown_gap", "echoes of a gap that is not stated"),
        Term::Window => ("window", "short window of the direct sound"),
        Term::Noise => ("noise", "noise of the recordings"),
        Term::Room => ("room", "below 500 Hz: the room's sound with and without the sheet"),
        Term::Level => ("level", "level step between the conditions, measured with control takes"),
    }
}
