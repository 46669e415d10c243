//! Changes to `session.toml` that keep its comments and its order.

use super::refusal::Refusal;
use super::words::{fill, word};
use serde::Deserialize;
use serde_json::Value as Json;
use toml_edit::{Array, ArrayOfTables, Datetime, DocumentMut, InlineTable, Item, Table, Value};

/// One step of a way to a value.
#[derive(Debug, Clone, Deserialize)]
#[serde(untagged)]
pub(super) enum Step {
    /// Place in a list, from 0.
    Index(usize),
    /// Key of a table.
    Key(String),
}

/// One change: where, and the new value; `null` takes the key or the entry out.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Change {
    /// Keys and places: `["screen", "gap_m"]`, `["seat", 2, "name"]`, `["claim", 0]`.
    pub path: Vec<Step>,
    pub value: Json,
}

impl Change {
    /// As the manifest names places: `seat[2].name`.
    pub(super) fn place(&self) -> String {
        let mut text = String::new();
        for step in &self.path {
            match step {
                Step::Index(i) => text += &format!("[{i}]"),
                Step::Key(key) if text.is_empty() => text += key,
                Step::Key(key) => text += &format!(".{key}"),
            }
        }
        text
    }
}

/// Makes one change.
///
/// # Errors
/// Where the document holds something else at that place.
pub(super) fn apply(document: &mut DocumentMut, change: &Change) -> Result<(), Refusal> {
    let odd = || Refusal::bad(fill("error.edit_place", &[("place", &change.place())]));
    match change.path.as_slice() {
        [Step::Key(table), Step::Key(key)] => {
            if change.value.is_null() && document.get(table).is_none() {
                return Ok(());
            }
            let item = document.entry(table).or_insert_with(|| Item::Table(new_table()));
            set(item.as_table_mut().ok_or_else(odd)?, key, &change.value)
        }
        [Step::Key(list), Step::Index(i), Step::Key(key)] => {
            let list = document.get_mut(list).and_then(Item::as_array_of_tables_mut);
            set(list.and_then(|l| l.get_mut(*i)).ok_or_else(odd)?, key, &change.value)
        }
        [Step::Key(list), Step::Index(i)] => {
            let new_list = || Item::ArrayOfTables(ArrayOfTables::new());
            let item = document.entry(list).or_insert_with(new_list);
            let tables = item.as_array_of_tables_mut().ok_or_else(odd)?;
            entry(tables, *i, &change.value).ok_or_else(odd)??;
            if tables.is_empty() {
                document.remove(list);
            }
            Ok(())
        }
        _ => Err(odd()),
    }
}

fn new_table() -> Table {
    let mut table = Table::new();
    table.decor_mut().set_prefix("\n");
    table
}

/// Takes an entry out of a list of tables, or adds one at its end.
fn entry(tables: &mut ArrayOfTables, i: usize, value: &Json) -> Option<Result<(), Refusal>> {
    if value.is_null() {
        tables.get(i)?;
        tables.remove(i);
        return Some(Ok(()));
    }
    if i != tables.len() {
        return None;
    }
    let mut table = new_table();
    for (key, value) in value.as_object()? {
        if let Err(error) = set(&mut table, key, value) {
            return Some(Err(error));
        }
    }
    tables.push(table);
    Some(Ok(()))
}

/// Sets or removes one key of a table; comments around it stay.
fn set(table: &mut Table, key: &str, value: &Json) -> Result<(), Refusal> {
    if value.is_null() {
        remove(table, key);
        return Ok(());
    }
    let old = table.get(key).and_then(Item::as_value);
    let was_float = old.is_some_and(Value::is_float);
    let mut new = toml_value(key, value, was_float)?;
    if let Some(old) = old {
        *new.decor_mut() = old.decor().clone();
    }
    match table.get_mut(key) {
        Some(item) => *item = Item::Value(new),
        None => {
            table.insert(key, Item::Value(new));
        }
    }
    Ok(())
}

/// Removes a key; comment lines above it go on to the key that follows.
fn remove(table: &mut Table, key: &str) {
    let above = table.key(key).and_then(|k| k.leaf_decor().prefix()?.as_str().map(str::to_owned));
    let keys: Vec<String> = table.iter().map(|(k, _)| k.to_owned()).collect();
    let next = keys.iter().position(|k| k == key).and_then(|i| keys.get(i + 1));
    if let (Some(above), Some(next)) = (above.filter(|a| a.contains('#')), next)
        && let Some(mut next) = table.key_mut(next)
    {
        let own = next.leaf_decor().prefix().and_then(|p| p.as_str()).unwrap_or("").to_owned();
        next.leaf_decor_mut().set_prefix(above + &own);
    }
    table.remove(key);
}

/// A value of a form as TOML. Whole numbers stay whole, unless a fraction stood there.
fn toml_value(key: &str, value: &Json, float: bool) -> Result<Value, Refusal> {
    Ok(match value {
        Json::Bool(b) => (*b).into(),
        Json::Number(n) => match n.as_i64().filter(|_| !float) {
            Some(whole) => whole.into(),
            None => n.as_f64().unwrap_or_default().into(),
        },
        Json::String(text) if key == "date" => {
            text.parse::<Datetime>().map_err(|_| Refusal::bad(word("error.date")))?.into()
        }
        Json::String(text) => text.as_str().into(),
        Json::Array(list) => {
            let mut array = Array::new();
            for item in list {
                array.push(toml_value("", item, false)?);
            }
            Value::Array(array)
        }
        Json::Object(map) => {
            let mut table = InlineTable::new();
            for (key, value) in map {
                table.insert(key, toml_value(key, value, false)?);
            }
            Value::InlineTable(table)
        }
        Json::Null => return Err(Refusal::bad(word("error.empty_value"))),
    })
}

/// A document as the forms read it; dates are texts.
pub(super) fn as_json(table: &Table) -> Json {
    let of_item = |item: &Item| match item {
        Item::Value(value) => of_value(value),
        Item::Table(table) => as_json(table),
        Item::ArrayOfTables(tables) => Json::Array(tables.iter().map(as_json).collect()),
        Item::None => Json::Null,
    };
    Json::Object(table.iter().map(|(key, item)| (key.to_owned(), of_item(item))).collect())
}

fn of_value(value: &Value) -> Json {
    match value {
        Value::String(text) => text.value().as_str().into(),
        Value::Integer(n) => (*n.value()).into(),
        Value::Float(x) => (*x.value()).into(),
        Value::Boolean(b) => (*b.value()).into(),
        Value::Datetime(date) => date.value().to_string().into(),
        Value::Array(list) => Json::Array(list.iter().map(of_value).collect()),
        Value::InlineTable(table) => {
            Json::Object(table.iter().map(|(k, v)| (k.to_owned(), of_value(v))).collect())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const TEXT: &str = "# top\n[session]\ntitle = \"Barn\" # as on the order\n# how well\nplacement_tolerance_mm = 10.0\n\n[screen]\n# about the gap\ngap_m = 0.065 # measured\nbacking = false\n# width_m = 2.9\n\n[[seat]]\nid = \"A\"\n\n# the last one\n[[seat]]\nid = \"B\"\n\n# [speaker]\n# power_w = 100\n";

    fn edited(changes: &[Json]) -> String {
        let mut document: DocumentMut = TEXT.parse().unwrap();
        for change in changes {
            let change: Change = serde_json::from_value(change.clone()).unwrap();
            apply(&mut document, &change).unwrap();
        }
        document.to_string()
    }

    #[test]
    fn one_value_changes_and_nothing_else() {
        let text = edited(&[json!({"path": ["screen", "gap_m"], "value": 0.1})]);
        assert_eq!(text, TEXT.replace("0.065", "0.1"));
        let text = edited(&[json!({"path": ["session", "placement_tolerance_mm"], "value": 5})]);
        assert_eq!(text, TEXT.replace("10.0", "5.0"));
        let text = edited(&[json!({"path": ["seat", 1, "id"], "value": "C"})]);
        assert_eq!(text, TEXT.replace("\"B\"", "\"C\""));
    }

    #[test]
    fn keys_entries_and_tables_come_and_go_with_comments_kept() {
        let text = edited(&[
            json!({"path": ["session", "date"], "value": "2026-03-14"}),
            json!({"path": ["screen", "gap_m"], "value": null}),
            json!({"path": ["seat", 2], "value": {"id": "C", "position_m": [3, 0.5, 1.1]}}),
            json!({"path": ["speaker", "power_w"], "value": 50}),
            json!({"path": ["picture", "aspect"], "value": null}),
        ]);
        for part in [
            "date = 2026-03-14\n",
            "# about the gap\nbacking = false",
            "[[seat]]\nid = \"C\"\nposition_m = [3, 0.5, 1.1]\n",
            "[speaker]\npower_w = 50\n",
            "# power_w = 100\n",
            "# width_m = 2.9",
            "# the last one",
        ] {
            assert!(text.contains(part), "{part} is not in\n{text}");
        }
        assert!(!text.contains("gap_m") && !text.contains("[picture]"));
        let text = edited(&[json!({"path": ["seat", 0], "value": null})]);
        assert!(!text.contains("\"A\"") && text.contains("\"B\""));
    }

    #[test]
    fn what_does_not_fit_is_refused() {
        let mut document: DocumentMut = TEXT.parse().unwrap();
        for change in [
            json!({"path": ["session", "date"], "value": "tomorrow"}),
            json!({"path": ["seat", 9], "value": {"id": "X"}}),
            json!({"path": ["seat", 9], "value": null}),
            json!({"path": ["seat", 9, "id"], "value": "X"}),
            json!({"path": ["session", "title", "x"], "value": 1}),
            json!({"path": [], "value": 1}),
        ] {
            let change: Change = serde_json::from_value(change).unwrap();
            assert!(apply(&mut document, &change).is_err(), "{change:?}");
        }
        assert_eq!(document.to_string(), TEXT);
    }
}
