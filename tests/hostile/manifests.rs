//! Manifests in the wrong encoding, broken, nested, huge, or with figures that cannot be.
//!
//! One long file, since it is one table: a case a line or two, read from top to bottom.

use super::room::MANIFEST;
use super::run::Class::{Accepted, Refused, Warned};
use super::run::{Case, Class, append, case, manifest};
use std::fs;

/// Replaces the manifest by bytes.
fn raw(name: &'static str, class: Class, bytes: Vec<u8>, says: &'static [&'static str]) -> Case {
    case(name, class, says, move |d| fs::write(d.join("session.toml"), &bytes).unwrap())
}

fn utf16(text: &str, little: bool) -> Vec<u8> {
    let mark = std::iter::once(0xfeffu16);
    mark.chain(text.encode_utf16())
        .flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() })
        .collect()
}

pub fn cases() -> Vec<Case> {
    let deep = |open: &str, close: &str| {
        format!("a = {}1{}", open.repeat(10_000), close.repeat(10_000)).into_bytes()
    };
    vec![
        raw("empty manifest", Refused, vec![], &["line 1", "empty", "scrimcheck start"]),
        raw(
            "UTF-16, little end first",
            Refused,
            utf16(MANIFEST, true),
            &["session.toml", "UTF-16", "UTF-8"],
        ),
        raw("UTF-16, big end first", Refused, utf16(MANIFEST, false), &["UTF-16"]),
        raw(
            "UTF-16 without mark",
            Refused,
            utf16(MANIFEST, true)[2..].to_vec(),
            &["zero bytes", "UTF-8"],
        ),
        raw(
            "Latin-1",
            Refused,
            b"[session]\ntitle = \"Caf\xe9\"\n".to_vec(),
            &["line 2, column 13", "0xe9", "UTF-8"],
        ),
        raw("binary", Refused, vec![0xff; 300], &["not UTF-8"]),
        raw("huge", Refused, vec![b'#'; (1 << 20) + 1], &["1048577 bytes", "1048576"]),
        raw("nested lists", Refused, deep("[", "]"), &["nested", "32", "line 1, column 37"]),
        raw("nested tables", Refused, deep("{ a = ", " }"), &["nested", "32"]),
        raw(
            "long dotted key",
            Refused,
            [b"a.".repeat(10_000), b"a = 1".to_vec()].concat(),
            &["nested"],
        ),
        raw(
            "unclosed string",
            Refused,
            b"[session]\ntitle = \"x\n".to_vec(),
            &["line 2", "not valid TOML"],
        ),
        manifest(
            "unknown key",
            Refused,
            "gap_m",
            "gap_mm",
            &["line 11, column 1", "unknown key `gap_mm`", "`gap_m`", "^^^^^^"],
        ),
        manifest(
            "unknown table",
            Refused,
            "[screen]",
            "[screens]",
            &["`screens`", "did you mean `screen`"],
        ),
        manifest(
            "wrong type",
            Refused,
            "0.065",
            "\"6.5 cm\"",
            &["line 11, column 9", "expected a number", "6.5 cm"],
        ),
        manifest("not a number", Refused, "0.065", "nan", &["line 11", "finite", "nan"]),
        manifest("infinite", Refused, "20000.0", "inf", &["line 7", "finite", "inf"]),
        manifest("too large to be a number", Refused, "0.065", "1e400", &["line 11", "1e400"]),
        manifest("no gap at all", Refused, "0.065", "0", &["gap_m is 0", "0.001 to 5 m"]),
        manifest("negative gap", Refused, "0.065", "-0.1", &["gap_m is -0.1"]),
        manifest(
            "missing title",
            Refused,
            "title = \"Invented room\"",
            "",
            &["`title` is missing in [session]"],
        ),
        manifest(
            "missing table",
            Refused,
            "[screen]\ngap_m = 0.065\n",
            "",
            &["[screen] is missing"],
        ),
        manifest(
            "duplicate seat",
            Refused,
            "R1_L",
            "R1C",
            &["line 17", "seat R1C is already there, in line 14"],
        ),
        manifest("empty seat", Refused, "\"R1C\"", "\"\"", &["line 14", "visible"]),
        manifest("seat with a line break", Refused, "\"R1C\"", "\"R\\n1\"", &["line 14", "\\u{a}"]),
        manifest(
            "seat with an escape code",
            Refused,
            "\"R1C\"",
            "\"R\\u001b[1m\"",
            &["line 14", "\\u{1b}"],
        ),
        manifest(
            "sweep outside",
            Refused,
            "\"sweep.wav\"",
            "\"../sweep.wav\"",
            &["line 5", "..", "session folder"],
        ),
        manifest(
            "sweep absolute",
            Refused,
            "\"sweep.wav\"",
            "\"/etc/hostname\"",
            &["line 5", "absolute"],
        ),
        manifest(
            "sweep on a drive",
            Refused,
            "\"sweep.wav\"",
            "'C:\\sweep.wav'",
            &["line 5", "backslash"],
        ),
        manifest(
            "sweep on a server",
            Refused,
            "\"sweep.wav\"",
            "'\\\\host\\share\\s.wav'",
            &["line 5", "backslash"],
        ),
        manifest("sweep without name", Refused, "\"sweep.wav\"", "\"\"", &["line 5", "empty"]),
        manifest("sweep band upside down", Refused, "50.0", "30000.0", &["line 7", "octave"]),
        manifest(
            "sweep beyond its rate",
            Refused,
            "20000.0",
            "24000.1",
            &["sweep.wav", "24000.1 Hz", "24000 Hz"],
        ),
        append(
            "unknown seat in a take",
            Refused,
            "[[take]]\nseat = \"R1K\"\ncondition = \"with\"\nfile = \"takes/R1C_with_1.wav\"",
            &["line 20", "no seat is called `R1K`", "`R1C`"],
        ),
        append(
            "unknown condition",
            Refused,
            "[[take]]\nseat = \"R1C\"\ncondition = \"behind\"\nfile = \"a.wav\"",
            &["line 21", "`behind`", "`without`"],
        ),
        append(
            "take outside",
            Refused,
            "[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"takes/../../x.wav\"",
            &["line 22", "\"..\""],
        ),
        append(
            "listed take that is not there",
            Refused,
            "[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"takes/no.wav\"",
            &["takes/no.wav", "its file is not there"],
        ),
        append(
            "one file for two takes",
            Refused,
            "[[take]]\nseat = \"R1C\"\ncondition = \"without\"\nfile = \"takes/R1C_with_1.wav\"\n[[take]]\nseat = \"R1C\"\ncondition = \"with\"\nfile = \"./takes/R1C_with_1.wav\"",
            &["line 26", "already used for the take in line 22"],
        ),
        append(
            "claim without its figure",
            Refused,
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 8000]",
            &["line 20", "`limit_db`"],
        ),
        append(
            "claim upside down",
            Refused,
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [8000, 500]\nlimit_db = 3",
            &["line 21", "lower value first"],
        ),
        append("channel 0", Refused, "[recording]\nmic_channel = 0", &["line 20", "from 1"]),
        append(
            "negative channel",
            Refused,
            "[recording]\nmic_channel = -1",
            &["line 20", "whole number"],
        ),
        append(
            "one channel for two purposes",
            Refused,
            "[recording]\nreference_channel = 1",
            &["line 20", "both 1"],
        ),
        append(
            "no calibration file",
            Refused,
            "[recording]\ncalibration_file = \"mic.csv\"",
            &["mic.csv", "no such file", "calibration_file"],
        ),
        append(
            "calibration file outside",
            Refused,
            "[recording]\ncalibration_file = \"/dev/zero\"",
            &["line 20", "absolute"],
        ),
        case("bad calibration file", Refused, &["mic.csv", "row 2, column 2", "\"x\""], |d| {
            fs::write(
                d.join("session.toml"),
                format!("{MANIFEST}[recording]\ncalibration_file = \"mic.csv\""),
            )
            .unwrap();
            fs::write(d.join("mic.csv"), "100,0\n200,x\n").unwrap();
        }),
        raw("a manifest of one byte", Refused, b"x".to_vec(), &["line 1"]),
        raw("only a byte-order mark", Refused, b"\xef\xbb\xbf".to_vec(), &["empty"]),
        raw("only spaces", Refused, b"  \n\n ".to_vec(), &["empty"]),
        raw(
            "zero bytes inside",
            Refused,
            MANIFEST.replace("room", "ro\0om").into(),
            &["zero bytes"],
        ),
        raw(
            "byte-order mark and CRLF",
            Accepted,
            format!("\u{feff}{}", MANIFEST.replace('\n', "\r\n")).into(),
            &[],
        ),
        raw(
            "old line ends",
            Refused,
            MANIFEST.replace('\n', "\r").into(),
            &["session.toml", "line 1"],
        ),
        raw("JSON", Refused, b"{\"session\": {\"title\": \"x\"}}".to_vec(), &["not valid TOML"]),
        raw(
            "a gigabyte in one key",
            Refused,
            [vec![b'k'; 1 << 19], b" = 1".to_vec()].concat(),
            &["unknown key"],
        ),
        raw(
            "a long text",
            Refused,
            MANIFEST.replace("Invented", &"x".repeat(100_000)).into(),
            &["line 2", "2000"],
        ),
        raw(
            "a key twice",
            Refused,
            MANIFEST.replace("gap_m = 0.065", "gap_m = 1\ngap_m = 2").into(),
            &["line 12", "duplicate"],
        ),
        raw("a table twice", Refused, format!("{MANIFEST}[screen]\n").into(), &["line 18"]),
        raw(
            "a table as a list",
            Refused,
            MANIFEST.replace("[screen]", "[[screen]]").into(),
            &["line 10"],
        ),
        raw(
            "a list as a table",
            Refused,
            MANIFEST.replace("[[seat]]\nid = \"R1C\"\n\n[[seat]]", "[seat]").into(),
            &["seat"],
        ),
        raw(
            "thirty thousand claims",
            Refused,
            format!("{MANIFEST}{}", "[[claim]]\nquantity=\"loss_at\"\n".repeat(25_000)).into(),
            &["claim"],
        ),
        raw(
            "thirty thousand seats",
            Refused,
            format!(
                "{MANIFEST}{}",
                (0..30_000).map(|i| format!("[[seat]]\nid=\"s{i}\"\n")).collect::<String>()
            )
            .into(),
            &["seats", "1000"],
        ),
        raw(
            "deep inside a list of tables",
            Refused,
            format!("{MANIFEST}[[claim]]\npoints = {}1{}", "[".repeat(10_000), "]".repeat(10_000))
                .into(),
            &["nested"],
        ),
        raw("half a surrogate", Refused, MANIFEST.replace("room", "\\ud800").into(), &["line 2"]),
        raw("unfinished table", Refused, format!("{MANIFEST}[scr").into(), &["line 18"]),
        manifest("gap beyond all rooms", Refused, "0.065", "1e300", &["gap_m", "line 11"]),
        manifest("tiny gap", Refused, "0.065", "1e-300", &["line 11", "gap_m"]),
        manifest("gap as whole number", Accepted, "0.065", "1", &[]),
        manifest("gap as a date", Refused, "0.065", "2026-03-14", &["line 11", "number"]),
        manifest("gap as a list", Refused, "0.065", "[0.065]", &["line 11", "number"]),
        manifest("gap yes", Refused, "0.065", "true", &["line 11", "number"]),
        manifest("negative infinity", Refused, "0.065", "-inf", &["finite"]),
        manifest("integer beyond 64 bits", Refused, "0.065", "99999999999999999999", &["line 11"]),
        manifest("negative start", Refused, "50.0", "-50.0", &["start_hz", "line 6"]),
        manifest("start at zero", Refused, "50.0", "0", &["start_hz", "line 6"]),
        manifest(
            "sweep of no length",
            Refused,
            "duration_s = 0.5",
            "duration_s = 0",
            &["duration_s", "line 8"],
        ),
        manifest(
            "sweep of an age",
            Refused,
            "duration_s = 0.5",
            "duration_s = 1e9",
            &["duration_s", "line 8"],
        ),
        manifest(
            "unknown kind of sweep",
            Refused,
            "start_hz = 50.0",
            "kind = \"linear\"\nstart_hz = 50.0",
            &["linear", "exponential"],
        ),
        manifest(
            "claimed band beyond Nyquist",
            Warned,
            "[[seat]]",
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 20000]\nlimit_db = 3\n[[seat]]",
            &["NOT SHOWN"],
        ),
        manifest(
            "claimed band beyond hearing",
            Refused,
            "[[seat]]",
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 1e9]\nlimit_db = 3\n[[seat]]",
            &["band_hz"],
        ),
        manifest(
            "unknown quantity",
            Refused,
            "[[seat]]",
            "[[claim]]\nquantity = \"beauty\"\n[[seat]]",
            &["beauty", "maximum_loss"],
        ),
        manifest(
            "claim with a limit that is no number",
            Refused,
            "[[seat]]",
            "[[claim]]\nquantity = \"maximum_loss\"\nband_hz = [500, 5000]\nlimit_db = nan\n[[seat]]",
            &["finite"],
        ),
        manifest(
            "a word of another language",
            Refused,
            "[[seat]]",
            "[screen.colour]\n[[seat]]",
            &["colour"],
        ),
        manifest(
            "seat at the loudspeaker",
            Refused,
            "id = \"R1C\"",
            "id = \"R1C\"\nposition_m = [0, 0, 0]",
            &["position_m", "line 15"],
        ),
        manifest(
            "seat behind the screen",
            Refused,
            "id = \"R1C\"",
            "id = \"R1C\"\nposition_m = [-3, 0, 1]",
            &["position_m", "line 15"],
        ),
        manifest(
            "seat of two coordinates",
            Refused,
            "id = \"R1C\"",
            "id = \"R1C\"\nposition_m = [3, 0]",
            &["line 15", "3"],
        ),
        manifest("seat without weight", Accepted, "id = \"R1C\"", "id = \"R1C\"\nweight = 0", &[]),
        manifest(
            "seat of negative weight",
            Refused,
            "id = \"R1C\"",
            "id = \"R1C\"\nweight = -1",
            &["weight"],
        ),
        append("all seats weigh nothing", Accepted, "weight = 0", &[]),
        append("hole larger than its pitch", Refused, "[speaker]\npower_w = -1", &["power_w"]),
        append("no power at all", Refused, "[speaker]\npower_w = 0", &["power_w"]),
        append(
            "driver band upside down",
            Refused,
            "[speaker]\npower_w = 100\ndriver_band_hz = [20000, 2000]",
            &["driver_band_hz"],
        ),
        append(
            "correction beyond Nyquist of its processor",
            Refused,
            "[correction]\nband_hz = [500, 3000]\nprocessor_rate_hz = 10",
            &["processor_rate_hz"],
        ),
        append(
            "more filters than anyone has",
            Refused,
            "[correction]\nmax_filters = 4000000000",
            &["max_filters"],
        ),
        append("gain without steps", Accepted, "[correction]\ngain_step_db = 0", &[]),
        append("tiny gain step", Refused, "[correction]\ngain_step_db = 1e-12", &["gain_step_db"]),
        append(
            "unknown frequency step",
            Refused,
            "[correction]\nfrequency_step = \"iso_1_5\"",
            &["iso_1_5", "iso_1_12"],
        ),
        append(
            "no filter allowed",
            Accepted,
            "[correction]\nmax_filters = 0\nmax_boost_db = 0\nmax_cut_db = 0",
            &[],
        ),
        append("session twice", Refused, "[session]", &["line 19"]),
        append("unknown units", Refused, "[handover]\nunits = \"cubits\"", &["cubits", "metric"]),
        append("screen of no width", Refused, "[picture]\nreference_gain = 0", &["reference_gain"]),
    ]
}
