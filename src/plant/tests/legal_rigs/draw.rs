//! Rigs with numbers drawn from the ranges of the schema.

use rand_pcg::Pcg32;
use rand_pcg::rand_core::{Rng, SeedableRng};
use serde_json::Value;
use trimproof_diagnostics::FileError;
use trimproof_plant::Rig;

pub const RIGS: [&str; 2] = [
    include_str!("../../../../scenarios/rigs/kittiwake.toml"),
    include_str!("../../../../scenarios/rigs/bittern.toml"),
];

/// A number of a rig's file: where it stands, and its range by the schema.
struct Range {
    path: Vec<String>,
    min: f64,
    max: f64,
    whole: bool,
}

/// Every number of `value` that has a range in the schema, but for what only the controller or a
/// reader sees.
fn ranges(
    root: &Value,
    schema: &Value,
    value: &Value,
    path: &mut Vec<String>,
    out: &mut Vec<Range>,
) {
    let schema = match schema.get("$ref").and_then(Value::as_str) {
        Some(name) => &root["$defs"][name.trim_start_matches("#/$defs/")],
        None => schema,
    };
    if let (Some(one_of), Some(kind)) = (schema.get("oneOf"), value.get("kind")) {
        for branch in one_of.as_array().into_iter().flatten() {
            if branch["properties"]["kind"]["const"] == *kind {
                ranges(root, branch, value, path, out);
            }
        }
        return;
    }
    if let Some(fields) = value.as_object() {
        for (key, field) in fields {
            if ["controller", "feel", "switches", "sensor"].contains(&key.as_str()) {
                continue;
            }
            // Never stiff; without them each seed keeps its rig.
            if key.starts_with("standstill_") {
                continue;
            }
            path.push(key.clone());
            ranges(root, &schema["properties"][key], field, path, out);
            path.pop();
        }
    } else if let Some(items) = value.as_array() {
        for (index, item) in items.iter().enumerate() {
            path.push(index.to_string());
            ranges(root, &schema["items"], item, path, out);
            path.pop();
        }
    } else if let (Some(min), Some(max)) = (schema["minimum"].as_f64(), schema["maximum"].as_f64())
    {
        out.push(Range {
            path: path.clone(),
            min,
            max,
            whole: schema["type"] == "integer",
        });
    }
}

fn share(draw: &mut Pcg32) -> f64 {
    f64::from(draw.next_u32()) / 4_294_967_296.0
}

/// A number of the range: by its logarithm where the range spans more than a decade.
fn drawn(range: &Range, draw: &mut Pcg32) -> f64 {
    let x = share(draw);
    if range.min > 0.0 && range.max > 10.0 * range.min {
        range.min * libm::pow(range.max / range.min, x)
    } else if range.min == 0.0 {
        // Nothing at all is a value of its own; the rest by four decades.
        if share(draw) < 0.1 {
            0.0
        } else {
            range.max * libm::pow(1e-4, x)
        }
    } else {
        range.min + x * (range.max - range.min)
    }
}

fn place<'a>(value: &'a mut Value, path: &[String]) -> &'a mut Value {
    path.iter()
        .fold(value, |value, key| match key.parse::<usize>() {
            Ok(index) => &mut value[index],
            Err(_) => &mut value[key.as_str()],
        })
}

/// The text of a rig file with some numbers drawn anew from their ranges.
fn random_text(draw: &mut Pcg32) -> String {
    let base = RIGS[(draw.next_u32() % 2) as usize];
    let rig = Rig::parse(base).expect("the shipped rigs parse");
    let mut value = serde_json::to_value(&rig).expect("a rig is JSON");
    let schema = serde_json::to_value(trimproof_plant::rig::schema()).expect("a schema is JSON");
    let mut all = Vec::new();
    ranges(&schema, &schema, &value, &mut Vec::new(), &mut all);
    assert!(all.len() > 90, "only {} ranges found", all.len());
    let count = [1, 2, 4, 8, 16][(draw.next_u32() % 5) as usize];
    for _ in 0..count {
        let range = &all[draw.next_u32() as usize % all.len()];
        let key = range.path.last().expect("a number has a key").as_str();
        let number = match key {
            "microsteps" => f64::from(1_u32 << (draw.next_u32() % 9)),
            // A whole number of periods in a tick.
            "generator_hz" => 500.0 * f64::from(2 + draw.next_u32() % 99),
            _ => drawn(range, draw),
        };
        *place(&mut value, &range.path) = if range.whole {
            Value::from(number.round().max(range.min) as u64)
        } else {
            Value::from(number)
        };
    }
    for axis in ["pitch", "roll"] {
        let axis = &mut value[axis];
        let pair = |axis: &mut Value, table: &str, low: &str, high: &str| {
            let (a, b) = (axis[table][low].clone(), axis[table][high].clone());
            if a.as_f64() > b.as_f64() {
                axis[table][low] = b;
            }
        };
        pair(axis, "driver", "hold_a", "run_a");
        pair(axis, "friction", "coulomb_n_m", "stiction_n_m");
        let holding = axis["motor"]["holding_n_m"].as_f64().unwrap_or(0.0);
        if axis["motor"]["detent_n_m"].as_f64() >= Some(holding) {
            axis["motor"]["detent_n_m"] = Value::from(0.5 * holding);
        }
    }
    let rig: Rig = serde_json::from_value(value).expect("numbers of the right kind");
    toml::to_string(&rig).expect("a rig is TOML")
}

/// A legal rig, or the refusal by the scheme's bounds; rigs refused for another reason are drawn
/// again.
pub fn random_rig(seed: u64) -> Result<Box<Rig>, FileError> {
    let mut draw = Pcg32::seed_from_u64(seed);
    loop {
        match Rig::parse(&random_text(&mut draw)) {
            Ok(rig) => return Ok(Box::new(rig)),
            Err(error) if error.message.contains("the twin would need steps of") => {
                return Err(error);
            }
            Err(_) => {}
        }
    }
}
