//! Reasons for empty cells, in a strict file.

use std::collections::BTreeSet;

use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    empty: Vec<Empty>,
}

/// Cells that are empty, and why. Lists stand for every combination, `*` for everything.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Empty {
    table: String,
    keys: Vec<Vec<String>>,
    because: String,
}

/// Every empty cell of the table has a reason, and every reason an empty cell.
pub fn hold(table: &str, cells: &[(Vec<String>, usize)]) {
    let place =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/coverage/reasons.toml");
    let text = std::fs::read_to_string(place).expect("the reasons are there");
    let file: File = toml::from_str(&text).expect("reasons.toml is as it must be");
    let known: BTreeSet<&str> = ["state", "fault", "setting", "decision"].into();
    let mut wrong = Vec::new();
    for empty in &file.empty {
        assert!(known.contains(empty.table.as_str()), "{}", empty.table);
        assert!(empty.because.len() > 20, "no reason: {:?}", empty.keys);
    }
    let of_table: Vec<&Empty> = file.empty.iter().filter(|e| e.table == table).collect();
    let covers = |empty: &Empty, key: &[String]| {
        empty.keys.len() == key.len()
            && empty
                .keys
                .iter()
                .zip(key)
                .all(|(list, own)| list.contains(own) || stands_for_all(list))
    };
    for (key, count) in cells {
        let reasons = of_table.iter().filter(|empty| covers(empty, key)).count();
        match (count, reasons) {
            (0, 0) => wrong.push(format!("empty, and no reason: {}", key.join(", "))),
            (0, 1) | (1.., 0) => {}
            (0, _) => wrong.push(format!("more than one reason: {}", key.join(", "))),
            (_, _) => wrong.push(format!("not empty, yet a reason: {}", key.join(", "))),
        }
    }
    for empty in of_table {
        for (dimension, list) in empty.keys.iter().enumerate() {
            for own in list.iter().filter(|_| !stands_for_all(list)) {
                if !cells.iter().any(|(key, _)| key.get(dimension) == Some(own)) {
                    wrong.push(format!("a reason for what is not in the table: {own}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

fn stands_for_all(list: &[String]) -> bool {
    list == ["*"]
}
