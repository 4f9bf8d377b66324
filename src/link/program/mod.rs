//! Builders' programs, run at their pins: each run in a process of its own, over a pipe.
//!
//! [`Programs`] holds what is to be run, a source that is compiled for this machine, and makes a
//! target for each run. docs/model/pins.md describes the frames that go over the pipe.

mod compile;
mod files;
mod frames;
mod host_files;
mod process;
mod sketch;
mod target;
#[cfg(test)]
mod tests;

use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use trimproof_diagnostics::FileError;
use trimproof_harness::firmware::{FILE_NAME, Facts, FirmwareFile};
use trimproof_harness::suite::{Problem, read_text};

use compile::{Built, Compiler};

pub use compile::CompileError;

/// How a source is compiled and run.
#[derive(Clone, Debug, Default)]
pub struct ProgramOptions {
    /// The firmware file; that of the source's folder if there is none.
    pub firmware: Option<PathBuf>,
    /// Whether the program is built with the compiler's sanitizers: a finding ends the run.
    pub sanitize: bool,
}

/// Why a program cannot be run at all.
#[derive(Debug, thiserror::Error)]
pub enum ProgramError {
    /// The firmware file is missing or wrong.
    #[error("the firmware file cannot be used")]
    File(Vec<Problem>),
    /// The source does not compile.
    #[error(transparent)]
    Compile(#[from] CompileError),
}

/// Programs of one firmware, one process a run.
pub struct Programs {
    firmware: FirmwareFile,
    folder: PathBuf,
    compiler: Compiler,
    /// Built programs by the macros that they were built with.
    built: Mutex<Vec<(Vec<String>, Arc<Built>)>>,
}

impl Programs {
    /// The source in `folder`, compiled for this machine.
    ///
    /// # Errors
    /// The firmware file cannot be used, or the source does not compile.
    pub fn source(folder: &Path, options: &ProgramOptions) -> Result<Arc<Self>, ProgramError> {
        let file = options
            .firmware
            .clone()
            .unwrap_or_else(|| folder.join(FILE_NAME));
        let firmware = read_firmware(&file).map_err(ProgramError::File)?;
        let programs = Self {
            compiler: Compiler::new(folder, &firmware, options.sanitize)?,
            folder: file.parent().unwrap_or(Path::new(".")).to_owned(),
            firmware,
            built: Mutex::new(Vec::new()),
        };
        // What does not compile is found before anything is run.
        if programs.firmware.rigs.is_empty() {
            programs.built_for("")?;
        }
        for rig in &programs.firmware.rigs {
            programs.built_for(&rig.name)?;
        }
        Ok(Arc::new(programs))
    }

    /// The firmware file.
    pub fn firmware(&self) -> &FirmwareFile {
        &self.firmware
    }

    /// What is known of the firmware on the rig of this name.
    pub fn facts(&self, rig: &str) -> Facts {
        Facts::of(&self.firmware, rig)
    }

    /// Who the program is, as traces carry it.
    pub fn identity(&self) -> String {
        let digest = self.compiler.digest();
        format!("{} (source {digest}, at its pins)", self.firmware.name)
    }

    /// The program for a rig, compiled if it is not yet.
    pub(crate) fn built_for(&self, rig: &str) -> Result<Arc<Built>, CompileError> {
        let mut defines = self.firmware.source.defines.clone();
        let own = self.firmware.on_rig(rig);
        defines.extend(own.iter().flat_map(|one| one.defines.iter().cloned()));
        let mut built = self.built.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, known)) = built.iter().find(|(known, _)| *known == defines) {
            return Ok(Arc::clone(known));
        }
        let made = Arc::new(self.compiler.build(&defines)?);
        built.push((defines, Arc::clone(&made)));
        Ok(made)
    }

    /// Contents of the EEPROM on a rig, 0xFF where nothing was written; `Err` says what is wrong.
    pub(crate) fn eeprom(&self, rig: &str) -> Result<Vec<u8>, String> {
        let bytes = self.firmware.board.chip.eeprom_bytes();
        let mut eeprom = vec![0xFF; bytes as usize];
        let own = self.firmware.on_rig(rig);
        let Some(file) = own.and_then(|one| one.eeprom.as_ref()) else {
            return Ok(eeprom);
        };
        let path = self.folder.join(file);
        let text = std::fs::read_to_string(&path).map_err(|error| {
            format!("cannot read the EEPROM file `{}`: {error}", path.display())
        })?;
        let parts = files::intel_hex(&text, bytes)
            .map_err(|why| format!("the EEPROM file `{}`: {why}", path.display()))?;
        for (address, part) in parts {
            // The reader lets nothing lie beyond the memory.
            let from = address as usize;
            eeprom[from..from + part.len()].copy_from_slice(&part);
        }
        Ok(eeprom)
    }
}

/// Reads and checks a firmware file.
///
/// # Errors
/// Everything that is wrong with it.
pub fn read_firmware(file: &Path) -> Result<FirmwareFile, Vec<Problem>> {
    if !file.exists() {
        let error = FileError::new("there is no such firmware file".to_owned()).with_help(
            "a source's folder holds a `firmware.toml`, or `--firmware FILE` names one; docs/guides/firmware.md shows a short one",
        );
        return Err(vec![Problem::new(file, error)]);
    }
    let text = read_text(file).map_err(|problem| vec![problem])?;
    FirmwareFile::parse(&text).map_err(|faults| {
        let faults = faults.into_iter();
        faults
            .map(|fault| Problem::within(file, &text, fault))
            .collect()
    })
}
