//! Every screen of the page and every paper for the browser, in the light and in the dark, on a phone
//! and on a laptop: no finding of the rules for accessible pages, nothing wider than the window.
//!
//! Needs chromium and chromium-driver; without them it says so. With `SCRIMCHECK_PICTURES` set to a
//! folder it leaves a picture of each screen there.

mod page;

use page::axe::findings;
use page::driver::{self, Browser};
use page::server::Server;
use std::path::Path;
use std::process::Command;

/// Width and height of a phone and of a laptop, px.
const WINDOWS: [(&str, u32, u32); 2] = [("phone", 390, 844), ("laptop", 1366, 900)];

/// Screens, each with what is there when it is whole.
const SCREENS: [(&str, &str); 12] = [
    ("/", ".jobs, table, li"),
    ("/new", "form"),
    ("/predict", "form"),
    ("/compare", "h1"),
    ("/choose", "form"),
    ("/job/demo/room", ".plan"),
    ("/job/demo/screen", ".claims"),
    ("/job/demo/limits", "form, fieldset, input"),
    ("/job/demo/client", "form, fieldset, input"),
    ("/job/demo/takes", ".next, .board"),
    ("/job/demo/result", ".finding"),
    ("/job/demo/listen", ".notice.care"),
];

fn made(arguments: &[&str]) {
    let run = Command::new(env!("CARGO_BIN_EXE_scrimcheck")).args(arguments).output().unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
}

/// How far the page is wider than its window, px.
fn too_wide(browser: &Browser) -> i64 {
    let script =
        "return document.documentElement.scrollWidth - document.documentElement.clientWidth";
    browser.run(script).as_i64().unwrap()
}

#[test]
fn every_screen_and_paper_can_be_used_by_everyone() {
    if !driver::is_there() {
        eprintln!("SKIPPED: chromium or chromium-driver is not installed");
        return;
    }
    let home = tempfile::tempdir().unwrap();
    let path = |name: &str| home.path().join(name).to_str().unwrap().to_owned();
    made(&["demo", &path("demo")]);
    made(&[
        "compare",
        &path("demo"),
        "--sheet",
        "film:areal_mass_g_m2=120",
        "--out",
        &path("beside"),
    ]);
    let server = Server::open(home.path());
    let browser = Browser::start(&[], true);
    browser.go(&server.address());
    let here = format!("http://127.0.0.1:{}", server.port);
    let paper = |name: &str| format!("file://{}", path(name));
    let mut pages: Vec<(String, &str)> =
        SCREENS.iter().map(|(address, whole)| (format!("{here}{address}"), *whole)).collect();
    pages.push((paper("demo/report/report.html"), "figure"));
    pages.push((paper("beside/comparison.html"), "figure"));
    let pictures = std::env::var_os("SCRIMCHECK_PICTURES");
    let mut wrong = Vec::new();
    for (address, whole) in &pages {
        for (window, width, height) in WINDOWS {
            for dark in [false, true] {
                browser.look(width, height, dark);
                browser.go(address);
                browser.wait(&format!("document.querySelector('{whole}')"), 60);
                std::thread::sleep(std::time::Duration::from_millis(300));
                let short = address.rsplit('/').next().filter(|n| !n.is_empty()).unwrap_or("jobs");
                let name = format!("{short}, {window}{}", if dark { ", dark" } else { "" });
                wrong.extend(findings(&browser).iter().map(|f| format!("{name}: {f}")));
                if too_wide(&browser) > 0 {
                    wrong.push(format!("{name}: {} px too wide", too_wide(&browser)));
                }
                if let Some(folder) = &pictures {
                    let name = name.replace(", ", "-") + ".png";
                    std::fs::write(Path::new(folder).join(name), browser.picture()).unwrap();
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{} findings:\n{}", wrong.len(), wrong.join("\n"));
}
