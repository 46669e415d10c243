//! Light readings, logo and calibration file.

use super::room::MANIFEST;
use super::run::Class::{Accepted, Refused};
use super::run::{Case, Class, append, case};
use std::fs;

fn readings(
    name: &'static str,
    class: Class,
    bytes: impl Into<Vec<u8>>,
    says: &'static [&'static str],
) -> Case {
    let bytes = bytes.into();
    case(format!("readings: {name}"), class, says, move |d| {
        fs::write(d.join("readings.csv"), &bytes).unwrap();
    })
}

fn logo(
    name: &'static str,
    class: Class,
    file: &'static str,
    bytes: impl Into<Vec<u8>>,
    says: &'static [&'static str],
) -> Case {
    let bytes = bytes.into();
    case(format!("logo: {name}"), class, says, move |d| {
        fs::write(d.join(file), &bytes).unwrap();
        let text = format!("{MANIFEST}[handover]\nlogo = {file:?}\n");
        fs::write(d.join("session.toml"), text).unwrap();
    })
}

fn svg(content: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' width='100' height='50'>{content}</svg>"
    )
}

fn png(width: u32, height: u32, data: &[u8]) -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".to_vec();
    bytes.extend(width.to_be_bytes());
    bytes.extend(height.to_be_bytes());
    bytes.extend([8, 0, 0, 0, 0]);
    bytes.extend(data);
    bytes
}

pub fn cases() -> Vec<Case> {
    vec![
        readings("good", Accepted, "point,screen_cd_m2,reference_cd_m2\ncentre,48,50\n", &[]),
        readings("empty", Refused, "", &["readings.csv", "point"]),
        readings(
            "heading alone",
            Refused,
            "point,screen_cd_m2\n",
            &["readings.csv", "no readings"],
        ),
        readings(
            "a word for a number",
            Refused,
            "point,screen_cd_m2\ncentre,48\nleft,bright\n",
            &["readings.csv", "line 3", "column screen_cd_m2", "bright"],
        ),
        readings(
            "not a number",
            Refused,
            "point,screen_cd_m2\ncentre,NaN\n",
            &["readings.csv", "line 2", "NaN"],
        ),
        readings("infinite", Refused, "point,screen_cd_m2\ncentre,1e999\n", &["line 2", "1e999"]),
        readings("negative", Refused, "point,screen_cd_m2\ncentre,-4\n", &["line 2", "-4"]),
        readings(
            "angle behind the screen",
            Refused,
            "point,screen_cd_m2,angle_deg\ncentre,4,120\n",
            &["line 2", "angle_deg", "120"],
        ),
        readings(
            "unknown point",
            Refused,
            "point,screen_cd_m2\nceiling,4\n",
            &["line 2", "ceiling"],
        ),
        readings("unknown column", Refused, "point,screen_cd_m2,colour\ncentre,4,5\n", &["colour"]),
        readings(
            "column twice",
            Refused,
            "point,screen_cd_m2,point\ncentre,4,left\n",
            &["point", "twice"],
        ),
        readings("row too long", Refused, "point,screen_cd_m2\ncentre,4,5,6\n", &["line 2"]),
        readings("row too short", Refused, "point,screen_cd_m2\ncentre\n", &["line 2"]),
        readings(
            "open quote",
            Refused,
            "point,screen_cd_m2\n\"centre,4\nleft,5\n",
            &["readings.csv", "line 2"],
        ),
        readings("UTF-16", Refused, b"\xff\xfep\0o\0i\0n\0t\0".to_vec(), &["readings.csv"]),
        readings(
            "Latin-1",
            Refused,
            b"point,screen_cd_m2\ncentr\xe9,4\n".to_vec(),
            &["readings.csv", "line 2"],
        ),
        readings("zero bytes", Refused, vec![0; 100], &["readings.csv"]),
        readings("binary", Refused, vec![0xff; 300], &["readings.csv"]),
        readings(
            "escape codes",
            Refused,
            "point,screen_cd_m2\n\u{1b}[2J\u{7},4\n",
            &["line 2", "\\u{1b}"],
        ),
        readings(
            "written from the right",
            Refused,
            "point,screen_cd_m2\n\u{202e}left,4\n",
            &["line 2", "\\u{202e}"],
        ),
        readings(
            "a cell of half a megabyte",
            Refused,
            format!("point,screen_cd_m2\n{},4\n", "x".repeat(1 << 19)),
            &["line 2"],
        ),
        readings(
            "two megabytes",
            Refused,
            "point,screen_cd_m2\n".to_owned() + &"centre,4\n".repeat(240_000),
            &["readings.csv", "1048576"],
        ),
        readings(
            "forty thousand rows",
            Accepted,
            "point,screen_cd_m2,reference_cd_m2\n".to_owned() + &"centre,40,50\n".repeat(40_000),
            &[],
        ),
        readings(
            "a row that ends at a zero",
            Refused,
            "point,screen_cd_m2\ncentre,4\0\n",
            &["line 2"],
        ),
        readings(
            "decimal commas",
            Accepted,
            "point;screen_cd_m2;reference_cd_m2\ncentre;48,5;50\n",
            &[],
        ),
        readings(
            "byte-order mark and CRLF",
            Accepted,
            "\u{feff}point,screen_cd_m2,reference_cd_m2\r\ncentre,48,50\r\n",
            &[],
        ),
        case("readings are a folder", Refused, &["readings.csv", "folder"], |d| {
            fs::create_dir(d.join("readings.csv")).unwrap();
        }),
        append(
            "readings named that are not there",
            Refused,
            "[picture]\nreadings_file = \"light.csv\"",
            &["light.csv", "no such file"],
        ),
        append(
            "readings named outside",
            Refused,
            "[picture]\nreadings_file = \"../light.csv\"",
            &["line 20", "..", "readings_file"],
        ),
        append("logo that is not there", Refused, "[handover]\nlogo = \"logo.svg\"", &["logo.svg"]),
        append(
            "logo outside",
            Refused,
            "[handover]\nlogo = \"/etc/passwd\"",
            &["line 20", "absolute"],
        ),
        append(
            "logo from the network",
            Refused,
            "[handover]\nlogo = \"https://example.invalid/logo.png\"",
            &["logo"],
        ),
        logo("empty", Refused, "logo.svg", "", &["logo.svg"]),
        logo("text", Refused, "logo.svg", "hello", &["logo.svg"]),
        logo("good", Accepted, "logo.svg", svg("<rect width='40' height='20'/>"), &[]),
        logo(
            "script",
            Accepted,
            "logo.svg",
            svg("<script>alert(1)</script><rect width='9' height='9' onclick='x()'/>"),
            &[],
        ),
        logo(
            "file from outside",
            Accepted,
            "logo.svg",
            svg(
                "<image xlink:href='/etc/passwd' width='9' height='9'/><rect width='9' height='9'/>",
            ),
            &[],
        ),
        logo(
            "entities in entities",
            Refused,
            "logo.svg",
            format!(
                "<!DOCTYPE svg [<!ENTITY a \"{0}\"><!ENTITY b \"{1}\"><!ENTITY c \"{2}\"><!ENTITY d \"{3}\">]>{4}",
                "x".repeat(1000),
                "&a;".repeat(1000),
                "&b;".repeat(1000),
                "&c;".repeat(1000),
                svg("<text>&d;</text>")
            ),
            &["logo.svg"],
        ),
        logo(
            "entity of a file",
            Refused,
            "logo.svg",
            format!(
                "<!DOCTYPE svg [<!ENTITY x SYSTEM \"file:///etc/passwd\">]>{}",
                svg("<text>&x;</text>")
            ),
            &["logo.svg"],
        ),
        logo(
            "ten thousand deep",
            Refused,
            "logo.svg",
            svg(&("<g>".repeat(10_000) + "<rect width='9' height='9'/>" + &"</g>".repeat(10_000))),
            &["logo.svg"],
        ),
        logo(
            "nested as deep as is read",
            Accepted,
            "logo.svg",
            svg(&("<g opacity='0.9'>".repeat(200)
                + "<rect width='9' height='9'/>"
                + &"</g>".repeat(200))),
            &[],
        ),
        logo(
            "copies of copies",
            Refused,
            "logo.svg",
            svg(&(0..40)
                .map(|i| {
                    format!(
                        "<g id='a{0}'><use xlink:href='#a{1}'/><use xlink:href='#a{1}'/></g>",
                        i,
                        i + 1
                    )
                })
                .collect::<String>()),
            &["logo.svg"],
        ),
        logo(
            "a copy of itself",
            Accepted,
            "logo.svg",
            svg("<g id='a'><use xlink:href='#a'/><rect width='9' height='9'/></g>"),
            &[],
        ),
        logo(
            "a pattern of itself",
            Accepted,
            "logo.svg",
            svg(
                "<pattern id='p' width='1' height='1'><rect width='9' height='9' fill='url(#p)'/></pattern><rect width='9' height='9' fill='url(#p)'/>",
            ),
            &[],
        ),
        logo(
            "a blur without end",
            Accepted,
            "logo.svg",
            svg(
                "<filter id='f' x='-1e6' y='-1e6' width='1e9' height='1e9'><feGaussianBlur stdDeviation='1e6'/></filter><rect width='90' height='40' filter='url(#f)'/>",
            ),
            &[],
        ),
        logo(
            "a tile of nothing on everything",
            Accepted,
            "logo.svg",
            svg(
                "<pattern id='p' width='0.0001' height='0.0001' patternUnits='userSpaceOnUse'><rect width='1' height='1'/></pattern><rect width='1e6' height='1e6' fill='url(#p)'/>",
            ),
            &[],
        ),
        logo(
            "as large as can be",
            Accepted,
            "logo.svg",
            "<svg xmlns='http://www.w3.org/2000/svg' width='1e30' height='1e30'><rect width='1e30' height='1e30'/></svg>",
            &[],
        ),
        logo(
            "of no size",
            Refused,
            "logo.svg",
            "<svg xmlns='http://www.w3.org/2000/svg' width='0' height='0'><rect width='1' height='1'/></svg>",
            &["logo.svg"],
        ),
        logo(
            "numbers that are none",
            Accepted,
            "logo.svg",
            svg(
                "<path d='M nan inf L 1e999 -1e999 Z'/><rect width='nan' height='1e999'/><rect width='9' height='9'/>",
            ),
            &[],
        ),
        logo(
            "one megabyte",
            Refused,
            "logo.svg",
            svg(&"<rect width='9' height='9'/>".repeat(40_000)),
            &["logo.svg", "larger"],
        ),
        logo("PNG without its data", Refused, "logo.png", png(10, 10, b""), &["logo.png"]),
        logo(
            "PNG of four billion pixels",
            Refused,
            "logo.png",
            png(65_535, 65_535, b"\0\0\0\0"),
            &["logo.png"],
        ),
        logo(
            "JPEG called PNG",
            Refused,
            "logo.png",
            b"\xff\xd8\xff\xe0\0\x10JFIF".to_vec(),
            &["logo.png"],
        ),
    ]
}
