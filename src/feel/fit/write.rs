//! The rig with the measured values in it: its text, changed only where a value was measured.

use toml_edit::{DocumentMut, Item, Table, TableLike, Value, value};
use trimproof_diagnostics::FileError;
use trimproof_harness::rig::RigFile;
use trimproof_plant::Inertia;
use trimproof_plant::rig::{CartridgeRig, MassRig};

use super::result::{AxisFit, Fit, FitQuantity};

/// A written-out rig.
#[derive(Clone, Debug, PartialEq)]
pub struct Written {
    /// Its text; a valid rig.
    pub text: String,
    /// What was changed and what could not be.
    pub notes: Vec<String>,
}

/// The rig's text with every measured value replaced; comments and order stay. A cartridge given by
/// its springs becomes one given by measured figures, masses given by shapes become measured ones.
///
/// `name`: the new rig's name, as its file will be called.
///
/// # Errors
///
/// If the text is no rig, or what was measured makes none: the value that a rig does not allow is
/// named.
pub fn written(text: &str, fit: &Fit, name: &str) -> Result<Written, FileError> {
    let rig = RigFile::parse(text)?;
    let mut document: DocumentMut = text
        .parse()
        .map_err(|error: toml_edit::TomlError| FileError::new(error.message().to_owned()))?;
    let mut notes = Vec::new();
    set(document.as_table_mut(), "name", name);
    for axis in &fit.axes {
        let index = axis.axis.index();
        let Some(table) = document[axis.axis.name()].as_table_like_mut() else {
            continue;
        };
        cartridge(table, &rig, index, axis, &mut notes);
        friction(table, &rig, index, axis, &mut notes);
    }
    let before = document.clone();
    inertia(&mut document, &rig, fit, &mut notes);
    let mut text = document.to_string();
    if let Err(error) = RigFile::parse(&text) {
        text = before.to_string();
        // Either way the rest must be right.
        RigFile::parse(&text)?;
        notes.push(format!(
            "the inertias as measured make no body that can be, so that the rig's masses stay as they are: {}",
            error.message
        ));
    }
    Ok(Written { text, notes })
}

fn cartridge(
    table: &mut dyn TableLike,
    rig: &RigFile,
    index: usize,
    fit: &AxisFit,
    notes: &mut Vec<String>,
) {
    let name = fit.axis.name();
    let measured: Vec<(&str, f64)> = [
        ("rate_n_m_per_rad", FitQuantity::Rate),
        ("breakout_n_m", FitQuantity::Breakout),
        ("free_play_deg", FitQuantity::FreePlay),
    ]
    .into_iter()
    .filter_map(|(key, quantity)| Some((key, fit.measured(quantity)?)))
    .collect();
    let damping = fit.measured(FitQuantity::Damping).map(|whole| {
        let pivot = rig.axis(index).friction.viscous_n_m_s_per_rad;
        (whole - pivot).max(0.0)
    });
    let springs = matches!(rig.axis(index).cartridge, CartridgeRig::Springs(_));
    if springs && !measured.is_empty() {
        let figures = rig.axis(index).cartridge.cartridge();
        let mut fresh = Table::new();
        set(&mut fresh, "kind", "measured");
        set(&mut fresh, "breakout_n_m", rounded(figures.breakout_n_m));
        set(
            &mut fresh,
            "rate_n_m_per_rad",
            rounded(figures.rate_n_m_per_rad),
        );
        set(
            &mut fresh,
            "free_play_deg",
            rounded(figures.free_play_rad.to_degrees()),
        );
        set(
            &mut fresh,
            "bind_deg",
            rounded(figures.bind_rad.to_degrees()),
        );
        set(
            &mut fresh,
            "damping_n_m_s_per_rad",
            rounded(figures.damping_n_m_s_per_rad),
        );
        set(&mut fresh, "springs", i64::from(figures.springs));
        if let Some(old) = table.get("cartridge").and_then(Item::as_table) {
            *fresh.decor_mut() = old.decor().clone();
            fresh.set_position(old.position());
        }
        table.insert("cartridge", Item::Table(fresh));
        notes.push(format!(
            "{name}: the cartridge was given by its springs and is now given by measured figures"
        ));
    }
    if let Some(cartridge) = table.get_mut("cartridge").and_then(Item::as_table_like_mut) {
        for (key, value) in measured {
            set(cartridge, key, rounded(value));
        }
        if let Some(damping) = damping {
            set(cartridge, "damping_n_m_s_per_rad", rounded(damping));
        }
    }
}

fn friction(
    table: &mut dyn TableLike,
    rig: &RigFile,
    index: usize,
    fit: &AxisFit,
    notes: &mut Vec<String>,
) {
    let Some(friction) = table.get_mut("friction").and_then(Item::as_table_like_mut) else {
        return;
    };
    let name = fit.axis.name();
    let old = &rig.axis(index).friction;
    if let Some(coulomb) = fit.measured(FitQuantity::Friction) {
        let ratio = if old.coulomb_n_m > 0.0 {
            old.stiction_n_m / old.coulomb_n_m
        } else {
            1.0
        };
        set(friction, "coulomb_n_m", rounded(coulomb));
        set(
            friction,
            "stiction_n_m",
            rounded(coulomb * ratio).max(rounded(coulomb)),
        );
        notes.push(format!(
            "{name}: stiction is kept in the rig's proportion to friction, {ratio:.3}: the readings do not show it"
        ));
    }
    if let Some(whole) = fit.measured(FitQuantity::Damping) {
        let pivot = old.viscous_n_m_s_per_rad;
        if whole < pivot {
            set(friction, "viscous_n_m_s_per_rad", rounded(whole));
            notes.push(format!(
                "{name}: damping is below the pivot's alone, so that the cartridge now has none"
            ));
        } else {
            notes.push(format!(
                "{name}: damping beyond the pivot's `{pivot}` N·m·s/rad is the cartridge's: the readings do not part them"
            ));
        }
    }
}

/// Moves the moments of inertia by what was measured: roll is the inner body's alone, pitch is that
/// and the frame. As both long moments of a stick are nearly one, the inner body's about y goes
/// with that about x, if roll was measured; the rest is the frame's, if it can be.
fn inertia(document: &mut DocumentMut, rig: &RigFile, fit: &Fit, notes: &mut Vec<String>) {
    let now = rig.stick.mass.properties();
    let measured = |index: usize| {
        fit.axes
            .iter()
            .find(|axis| axis.axis.index() == index)?
            .measured(FitQuantity::Inertia)
            .map(|found| found - now.axis_inertia_kg_m2(index))
    };
    let (pitch, roll) = (measured(0), measured(1));
    if pitch.is_none() && roll.is_none() {
        return;
    }
    let mut about_x = roll.unwrap_or(0.0);
    let mut about_y = pitch.unwrap_or(about_x);
    let mut frame = 0.0;
    match (pitch, roll) {
        (Some(pitch), Some(roll)) => {
            let least = {
                let [x, _, z] = now.frame_cg_m;
                now.frame_mass_kg * (x * x + z * z) + 1e-6
            };
            frame = (pitch - roll).max(least - now.frame_inertia_kg_m2);
            about_y = pitch - frame;
        }
        // The other long moment of the stick goes along; pitch was not measured.
        (None, Some(roll)) => about_y = roll,
        (Some(pitch), None) => about_x = pitch,
        (None, None) => {}
    }
    let Some(stick) = document["stick"].as_table_like_mut() else {
        return;
    };
    let about_cg = Inertia {
        mass_kg: now.inner_mass_kg,
        cg_m: now.inner_cg_m,
        tensor_kg_m2: [[0.0; 3]; 3],
    }
    .moved_from_cg()
    .tensor_kg_m2;
    let i = &now.inner_inertia_kg_m2;
    let moment = |a: usize, b: usize, more: f64| rounded(i[a][b] - about_cg[a][b] + more);
    let moments = [
        moment(0, 0, about_x),
        moment(1, 1, about_y),
        moment(2, 2, 0.0),
        moment(0, 1, 0.0),
        moment(0, 2, 0.0),
        moment(1, 2, 0.0),
    ];
    let frame_inertia = rounded(now.frame_inertia_kg_m2 + frame);
    if let MassRig::Shapes(_) = rig.stick.mass {
        let mut fresh = Table::new();
        set(&mut fresh, "kind", "measured");
        set(&mut fresh, "frame_inertia_kg_m2", frame_inertia);
        set(&mut fresh, "frame_mass_kg", rounded(now.frame_mass_kg));
        fresh.insert("frame_cg_m", list(&now.frame_cg_m));
        set(&mut fresh, "inner_mass_kg", rounded(now.inner_mass_kg));
        fresh.insert("inner_cg_m", list(&now.inner_cg_m));
        fresh.insert("inner_inertia_kg_m2", list(&moments));
        if let Some(old) = stick.get("mass").and_then(Item::as_table) {
            *fresh.decor_mut() = old.decor().clone();
            fresh.set_position(old.position());
        }
        stick.insert("mass", Item::Table(fresh));
        notes.push(
            "the masses were given by shapes and are now given by figures: the shapes do not have the measured inertia"
                .to_owned(),
        );
    } else if let Some(mass) = stick.get_mut("mass").and_then(Item::as_table_like_mut) {
        if frame != 0.0 {
            set(mass, "frame_inertia_kg_m2", frame_inertia);
        }
        if let Some(item) = mass.get_mut("inner_inertia_kg_m2") {
            let decor = item.as_value().map(|value| value.decor().clone());
            *item = list(&moments);
            if let (Some(decor), Some(value)) = (decor, item.as_value_mut()) {
                *value.decor_mut() = decor;
            }
        }
    }
}

/// Five significant digits: more than any bench gives. What rounding leaves of zero is zero.
fn rounded(value: f64) -> f64 {
    if value.abs() < 1e-12 {
        return 0.0;
    }
    format!("{value:.4e}").parse().unwrap_or(value)
}

fn list(values: &[f64]) -> Item {
    let values = values.iter().map(|value| rounded(*value));
    value(values.collect::<toml_edit::Array>())
}

/// Puts a value into a table and keeps what stands round it.
fn set(table: &mut dyn TableLike, key: &str, fresh: impl Into<Value>) {
    let mut fresh = fresh.into();
    if let Some(old) = table.get(key).and_then(Item::as_value) {
        *fresh.decor_mut() = old.decor().clone();
    }
    match table.get_mut(key) {
        Some(item) => *item = Item::Value(fresh),
        None => {
            table.insert(key, Item::Value(fresh));
        }
    }
}
