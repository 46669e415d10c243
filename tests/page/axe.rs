//! The rules for accessible pages, applied to what stands in a browser.

use super::driver::Browser;
use serde_json::Value;

/// Rules of WCAG 2.2, levels A and AA, and good practice; see `fixtures/axe/README.md`.
const AXE: &str = include_str!("../../fixtures/axe/axe.min.js");

/// Fails where the rules find anything on `what`.
pub fn assert_usable(browser: &Browser, what: &str) {
    let found = findings(browser);
    assert!(found.is_empty(), "{what}: {found:?}");
}

/// What the rules find, a line for each rule.
pub fn findings(browser: &Browser) -> Vec<String> {
    browser.run(AXE);
    let told = browser.run_later(
        "const done = arguments[0]; axe.run(document, {resultTypes: ['violations']}).then(r => \
         done(r.violations.map(v => v.id + ': ' + v.nodes.map(n => n.html.slice(0, 160) + ' ' + \
         (n.any[0]?.message ?? '')).slice(0, 3).join(' | '))), e => done(['' + e]))",
    );
    told.as_array().expect("a list of findings").iter().map(Value::to_string).collect()
}
