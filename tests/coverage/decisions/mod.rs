//! How every decision in the controller came out in the shipped runs.
//!
//! [`source`] writes a copy of the controller that notes its decisions. The compiler builds it,
//! alone and without cargo, and everything that went to the controller in the runs is played to it:
//! a controller knows nothing but its inputs, so it decides as it did. That the answers are the
//! same, bit for bit, is checked.

#[path = "replay/answers.rs"]
mod answers;
mod source;

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;

use trimproof_controller::Settings;
use trimproof_io::{Inputs, Outputs};

use crate::Ran;
use crate::observe::Heard;
use crate::tables::Table;
use answers::Answers;
use source::Copy;

/// Where the copy is built.
fn place() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("decisions")
}

fn write(name: &str, content: impl AsRef<[u8]>) -> PathBuf {
    let file = place().join(name);
    std::fs::write(&file, content).unwrap_or_else(|error| panic!("{}: {error}", file.display()));
    file
}

/// What goes into the file that is played, one byte each: a run of a rig begins, the controller
/// starts again, a tick.
const BEGIN: u8 = 0;
const RESET: u8 = 1;
const TICK: u8 = 2;

fn put(to: &mut Vec<u8>, inputs: &Inputs) {
    to.push(TICK);
    to.extend(inputs.tick.to_le_bytes());
    for counts in inputs.sensor_counts {
        to.extend(counts.to_le_bytes());
    }
    to.extend(inputs.supply_mv.to_le_bytes());
    let switches = &inputs.switches;
    let closed = [
        switches.release,
        switches.hat_fore,
        switches.hat_aft,
        switches.hat_left,
        switches.hat_right,
        switches.force_trim,
    ];
    let bits = closed.iter().enumerate();
    to.push(bits.map(|(bit, closed)| u8::from(*closed) << bit).sum());
}

/// Builds the copy with the settings of the rigs; the program.
fn build(copy: &Copy, rigs: &[Settings]) -> PathBuf {
    std::fs::create_dir_all(place()).expect("a folder for the copy");
    for module in &copy.modules {
        write(&format!("{}.rs", module.name), &module.text);
    }
    write("seen.rs", include_str!("replay/seen.rs"));
    write("main.rs", include_str!("replay/main.rs"));
    write("answers.rs", include_str!("replay/answers.rs"));
    // Settings are shown as Rust writes them.
    let rigs = format!(
        "use trimproof_controller::{{AxisSettings, Settings}};\n\
         pub const ALL: [Settings; {}] = {rigs:#?};\n\
         pub const DECISIONS: usize = {};\n",
        rigs.len(),
        copy.decisions.len(),
    );
    write("rigs.rs", rigs);
    let library = compile(
        "lib.rs",
        "libtrimproof_controller.rlib",
        &[
            "--crate-type",
            "rlib",
            "--crate-name",
            "trimproof_controller",
        ],
    );
    // Both are in the one library.
    let [controller, io] = ["trimproof_controller", "trimproof_io"]
        .map(|name| format!("{name}={}", library.display()));
    compile(
        "main.rs",
        "replay",
        &["--extern", &controller, "--extern", &io],
    )
}

/// Calls the compiler; the file that it made.
fn compile(from: &str, to: &str, more: &[&str]) -> PathBuf {
    let file = place().join(to);
    let rustc = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let output = Command::new(&rustc)
        .current_dir(place())
        .args([
            from,
            "--edition",
            "2024",
            "-C",
            "opt-level=1",
            "--cap-lints",
            "allow",
        ])
        .args(["-o", to])
        .args(more)
        // What cargo passes to a crate.
        .env("CARGO_PKG_NAME", "trimproof-controller")
        .env("CARGO_PKG_VERSION", env!("CARGO_PKG_VERSION"))
        .output()
        .unwrap_or_else(|error| panic!("{}: {error}", rustc.display()));
    assert!(
        output.status.success(),
        "{from}: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    file
}

/// Every decision and the sides on which it came out.
pub fn table(runs: &[Ran]) -> Table {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let copy = source::copy(&sources.join("controller"), &sources.join("io"));
    let mut rigs: BTreeMap<&str, (u8, Settings)> = BTreeMap::new();
    let mut played = Vec::new();
    for ran in runs {
        let number = rigs.len() as u8;
        let (rig, _) = *rigs
            .entry(&ran.rig.name)
            .or_insert_with(|| (number, ran.rig.controller.expect("the rig has settings")));
        played.extend([BEGIN, rig]);
        for heard in &ran.heard {
            match heard {
                Heard::Reset => played.push(RESET),
                Heard::Tick(inputs) => put(&mut played, inputs),
            }
        }
    }
    let mut rigs: Vec<_> = rigs.into_values().collect();
    rigs.sort_by_key(|(number, _)| *number);
    let settings: Vec<Settings> = rigs.into_iter().map(|(_, settings)| settings).collect();
    let program = build(&copy, &settings);
    let file = write("played", played);
    let output = Command::new(&program).arg(&file).output().expect("it runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let printed = String::from_utf8(output.stdout).expect("text");
    let mut numbers = printed
        .lines()
        .map(|line| line.parse::<u64>().expect("a number"));
    for ran in runs {
        let label = &ran.label;
        assert_eq!(
            numbers.next(),
            Some(ran.answers),
            "{label}: the copy answers otherwise than the controller"
        );
    }
    drawn(&copy, &numbers.collect::<Vec<_>>())
}

/// One number for all that the controller answered in a run.
pub fn number<'a>(outputs: impl Iterator<Item = &'a Outputs>) -> u64 {
    let mut answers = Answers::new();
    outputs.for_each(|outputs| answers.take(outputs));
    answers.number()
}

fn drawn(copy: &Copy, seen: &[u64]) -> Table {
    assert_eq!(copy.decisions.len(), seen.len());
    let mut text = String::from(
        "every decision of the controller, and how it came out in the runs; what is in brackets did not happen\n",
    );
    let mut cells = Vec::new();
    let mut function = "";
    for (decision, seen) in copy.decisions.iter().zip(seen) {
        if decision.function != function {
            function = &decision.function;
            let _ = writeln!(text, "{function}");
        }
        let mut shown = Vec::new();
        for (bit, side) in decision.sides.iter().enumerate() {
            let met = seen & (1 << bit) != 0;
            shown.push(if met {
                (*side).to_owned()
            } else {
                format!("[{side}]")
            });
            let key = [function, &decision.text, *side];
            cells.push((key.map(str::to_owned).to_vec(), usize::from(met)));
        }
        let _ = writeln!(text, "  {:<20}  {}", shown.join(" "), decision.text);
    }
    Table { text, cells }
}
