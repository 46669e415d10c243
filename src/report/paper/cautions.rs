//! What can hurt people or things, where this job meets it.

use super::writer::Writer;
use crate::ingest::session::Session;

/// Said beside the price of a boost.
pub(super) fn boost_caution(session: &Session, writer: &mut Writer) {
    let unknown = session
        .manifest
        .speaker
        .as_ref()
        .is_none_or(|s| s.amplifier_w.is_none() || s.driver_limit_w.is_none());
    let limits = if unknown {
        " Limits of amplifier or driver are not all stated, so what is left of them is not known."
    } else {
        ""
    };
    writer.caution(&format!(
        "Boost and drivers: every 3 dB of boost doubles the power, and the high-frequency driver \
         takes it first. Raise the level step by step, listen for strain, and keep to the maker's \
         limits.{limits}"
    ));
}

/// Every caution, as a part of its own.
///
/// Noise figures: NIOSH 98-126 (85 dB(A) for 8 h, half the time for every 3 dB
/// more) and directive 2003/10/EC, article 3.
pub(super) fn cautions(session: &Session, writer: &mut Writer) {
    writer.part("Cautions");
    writer.caution(
        "Hearing: test signals are loud and steady. NIOSH recommends at most 85 dB(A) over 8 hours \
         a day, and half the time for every 3 dB more: 88 dB(A) 4 hours, 94 dB(A) 1 hour, \
         100 dB(A) 15 minutes. In the European Union directive 2003/10/EC sets exposure action \
         values at 80 and 85 dB(A) and the limit at 87 dB(A) over a day, with peaks of 112, 140 \
         and 200 Pa. Start low, leave the room or wear protection during the sweeps, and warn \
         everybody in the house.",
    );
    boost_caution(session, writer);
    writer.caution(
        "Ladders and fixings: a screen frame is heavy and wide. Work in pairs, secure the ladder, \
         and see that wall and fixings carry the weight; what hangs above people needs a safety \
         cable.",
    );
    writer.caution(
        "Eyes and fire: during light readings never look into the projector's beam, and keep \
         children away from it. Absorbent behind a screen must have the fire rating that the \
         local code asks for.",
    );
    writer.caution(
        "Mains: switch amplifiers off and unplug them before cables are changed. Work on fixed \
         wiring is for licensed persons.",
    );
    writer.say(
        "Local codes, the makers' instructions and licensed practice come before anything in this \
         paper.",
    );
}
