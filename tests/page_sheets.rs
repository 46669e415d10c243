//! What the page says of all jobs together, pressed as a person would in a real browser: what each sheet
//! did, the choice for the next room, and one room measured twice.
//!
//! Needs chromium and chromium-driver; without them it says so.

mod page;

use page::driver::{self, Browser};
use page::server::Server;
use scrimcheck::simulate::{demo_scenario, simulate, write};
use std::fs;
use std::path::Path;

/// Two seats of the demo's invented room, with a short sweep: seconds instead of a minute.
fn job(folder: &Path, change: &dyn Fn(String) -> String) {
    let mut scenario = demo_scenario();
    scenario.seats.truncate(2);
    scenario.sweep.duration_s = 1.0;
    (scenario.lead_s, scenario.trail_s) = (0.15, 0.45);
    write(&simulate(&scenario), folder).unwrap();
    let path = folder.join("session.toml");
    let text = fs::read_to_string(&path).unwrap();
    fs::write(&path, change(text)).unwrap();
}

/// The papers that an answer offers, once they are there.
fn papers(browser: &Browser, page: &str) -> Vec<String> {
    browser.wait(&format!("document.querySelector('iframe.paper[src$=\"{page}\"]')?.src"), 240);
    let names =
        browser.run("return [...document.querySelectorAll('.files a')].map(a => a.innerText)");
    names.as_array().unwrap().iter().map(|n| n.as_str().unwrap().to_owned()).collect()
}

/// Every paper on the screen is there and holds something.
fn assert_papers_are_there(browser: &Browser) {
    let sizes = browser.run_later(
        "const done = arguments[0]; Promise.all([...document.querySelectorAll('.files a')].map(async (a) => { \
         const r = await fetch(a.href); return r.ok ? (await r.arrayBuffer()).byteLength : 0; })).then(done)",
    );
    let sizes: Vec<u64> = sizes.as_array().unwrap().iter().map(|s| s.as_u64().unwrap()).collect();
    assert!(!sizes.is_empty() && sizes.iter().all(|&bytes| bytes > 100), "{sizes:?}");
}

#[test]
fn what_is_asked_of_all_jobs_is_answered_by_pressing_buttons() {
    if !driver::is_there() {
        eprintln!("SKIPPED: chromium or chromium-driver is not installed");
        return;
    }
    let home = tempfile::tempdir().unwrap();
    job(&home.path().join("barn"), &|text| {
        text.replace(
            "title = \"Demo (simulated): an invented home cinema, two rows\"",
            "title = \"Barn\"",
        )
    });
    // The same sheet by another spelling, with what a careless reader of names would trip over.
    job(&home.path().join("loft"), &|text| {
        text.replace(
            "title = \"Demo (simulated): an invented home cinema, two rows\"",
            "title = \"Loft\"",
        )
        .replace("name = \"Invented cloth no. 1\"", "name = 'Invented \"cloth\" no. 1'")
        .replace("date = 2026-03-14", "date = 2026-05-20")
    });
    let server = Server::open(home.path());
    let browser = Browser::start(&[], true);
    browser.go(&server.address());

    // Nothing is analysed yet: it says so, and one press does it.
    browser.wait("document.querySelector('main').innerText.includes('not analysed yet, or changed since: 2')", 30);
    let press = |text: &str| {
        let found = browser.run(&format!(
            "const b = [...document.querySelectorAll('button.key')].find((b) => b.innerText.trim() === {text:?}); \
             if (b) b.id ||= 'pressed-now'; return b?.id ?? null"
        ));
        browser
            .click(&format!("#{}", found.as_str().unwrap_or_else(|| panic!("no button {text}"))));
    };
    press("Analyse them and make the papers");
    let names = papers(&browser, "sheets.html");
    assert!(names.iter().any(|n| n == "sheets.csv"), "{names:?}");
    assert_papers_are_there(&browser);
    let paper = |name: &str| {
        let script = format!(
            "const done = arguments[0]; const a = [...document.querySelectorAll('.files a')].find(a => a.innerText === {name:?}); \
             fetch(a.href).then((r) => r.text()).then(done)"
        );
        browser.run_later(&script).as_str().unwrap().to_owned()
    };
    // Clients' names stay out unless they are asked for.
    assert!(!paper("sheets.html").contains("Loft"));

    // Now both count, each under its own name; told to be one, they are one sheet in two rooms.
    browser.go(&server.address());
    browser.wait("document.querySelectorAll('table.sheets tbody tr').length === 2", 30);
    let rooms = "[...document.querySelectorAll('table.sheets tbody tr')].map((r) => r.cells[1].innerText).join()";
    assert_eq!(browser.wait(rooms, 5), "1,1");
    browser.click(
        &browser.labelled("“Invented \"cloth\" no. 1” and “Invented cloth no. 1” are one sheet"),
    );
    browser.click(&browser.labelled("Tell the names of jobs in the papers; they may name clients"));
    press("Make the papers");
    papers(&browser, "sheets.html");
    let told = paper("sheets.html");
    assert!(told.contains("Loft") && told.contains("Barn"), "names were asked for");
    let said = browser.text("[role=status] ul");
    assert!(said.contains("mean over 2 rooms"), "{said}");

    // The next room: a figure that is none is told at its field, then the sheets are ranked.
    browser.go(&format!("http://127.0.0.1:{}/choose", server.port));
    browser.wait("document.querySelector('form')", 20);
    browser.keys(&browser.labelled("Gap behind the sheet"), "wide");
    press("Rank the sheets");
    assert_eq!(browser.wait("document.activeElement.value", 5), "wide");
    assert!(!browser.text("form .wrong:not(:empty)").is_empty());
    browser.go(&format!("http://127.0.0.1:{}/choose", server.port));
    browser.wait("document.querySelector('form')", 20);
    browser.keys(&browser.labelled("Gap behind the sheet"), "0.065");
    browser.keys(&browser.labelled("Seats"), "3.2; 4.4 0.8");
    browser.click("details summary");
    browser.keys(
        &browser.labelled("One sheet a line"),
        "Weave:flow_resistance_pa_s_m=60,areal_mass_g_m2=250",
    );
    press("Rank the sheets");
    papers(&browser, "choice.html");
    assert_papers_are_there(&browser);
    assert!(browser.text("[role=status]").contains("Weave"));

    // One room measured twice.
    browser.go(&format!("http://127.0.0.1:{}/compare", server.port));
    browser.wait("document.querySelectorAll('form fieldset input').length === 2", 20);
    browser.click("form > .tick input");
    press("Set them side by side");
    papers(&browser, "again.html");
    assert_papers_are_there(&browser);
    assert_eq!(browser.complaints(), Vec::<String>::new());
}
