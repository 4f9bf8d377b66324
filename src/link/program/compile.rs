//! Compiles a builder's source for this machine, with the host core that stands for its board.
//!
//! The compilers are those of the variables `CC` and `CXX`, else `cc` and `c++`. A program is built
//! once for the same content: sources, headers, macros, compiler and host core.

use std::ffi::OsString;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::Command;

use tempfile::TempDir;
use trimproof_diagnostics::line;
use trimproof_harness::firmware::{Chip, FirmwareFile};

use super::host_files::HOST_FILES;
use super::sketch::{SketchFile, joined};

/// Most bytes of sources that are read for a program.
const SOURCES_MAX: u64 = 32 << 20;
/// Most of a compiler's words that are shown, characters.
const SHOWN_MAX: usize = 6000;

/// Why a source does not become a program.
#[derive(Clone, Debug, thiserror::Error, PartialEq, Eq)]
pub enum CompileError {
    /// The folder cannot be read.
    #[error("cannot read the source `{file}`: {why}")]
    Unreadable {
        /// File or folder.
        file: String,
        /// The system's word for it.
        why: String,
    },
    /// There is nothing to compile.
    #[error("`{folder}` holds no source: no `.ino`, `.cpp`, `.cc` or `.c` file")]
    NoSource {
        /// The folder.
        folder: String,
    },
    /// The compiler is not there.
    #[error("the compiler `{compiler}` cannot be started: {why}")]
    NoCompiler {
        /// The program.
        compiler: String,
        /// The system's word for it.
        why: String,
    },
    /// The compiler refuses the source; its own words.
    #[error("`{compiler}` refuses `{file}`:\n{said}")]
    Refused {
        /// The compiler.
        compiler: String,
        /// The file, or what was linked.
        file: String,
        /// What the compiler said.
        said: String,
    },
    /// The build folder cannot be written.
    #[error("cannot write the build of the program: {why}")]
    Unwritable {
        /// The system's word for it.
        why: String,
    },
}

impl CompileError {
    /// What would help.
    pub fn help(&self) -> Option<String> {
        Some(match self {
            Self::NoCompiler { .. } => {
                "on Debian and Ubuntu: apt install g++; or name one by the variables `CC` and `CXX`"
                    .to_owned()
            }
            Self::NoSource { .. } => {
                "`source.files` of the firmware file names sources elsewhere".to_owned()
            }
            _ => return None,
        })
    }
}

/// A program that was built; its file goes with it unless it is kept for later.
pub(crate) struct Built {
    path: PathBuf,
    _folder: Option<TempDir>,
}

impl Built {
    /// The program.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }
}

/// Compiles one source.
pub(super) struct Compiler {
    cc: OsString,
    cxx: OsString,
    folder: PathBuf,
    sources: Vec<PathBuf>,
    include: Vec<PathBuf>,
    chip: Chip,
    clock_hz: u32,
    sanitize: bool,
    digest: blake3::Hash,
}

impl Compiler {
    /// A compiler of what lies in `folder`.
    pub(super) fn new(
        folder: &Path,
        firmware: &FirmwareFile,
        sanitize: bool,
    ) -> Result<Self, CompileError> {
        let sources = if firmware.source.files.is_empty() {
            sources_in(folder)?
        } else {
            let files = firmware.source.files.iter();
            files.map(|file| folder.join(file)).collect()
        };
        if sources.is_empty() {
            let folder = folder.display().to_string();
            return Err(CompileError::NoSource { folder });
        }
        let mut include = vec![folder.to_owned()];
        include.extend(firmware.source.include.iter().map(|one| folder.join(one)));
        let digest = digest_of(&sources, &include)?;
        let named = |name: &str, usual: &str| {
            let value = std::env::var_os(name).filter(|value| !value.is_empty());
            value.unwrap_or_else(|| usual.into())
        };
        Ok(Self {
            cc: named("CC", "cc"),
            cxx: named("CXX", "c++"),
            folder: folder.to_owned(),
            sources,
            include,
            chip: firmware.board.chip,
            clock_hz: firmware.board.clock_hz,
            sanitize,
            digest,
        })
    }

    /// Twelve digits that change with every change of a source.
    pub(super) fn digest(&self) -> String {
        self.digest.to_hex()[..12].to_owned()
    }

    /// Builds the program with these macros, or takes it from where an earlier run left it.
    pub(super) fn build(&self, defines: &[String]) -> Result<Built, CompileError> {
        let key = self.key(defines)?;
        let store = store_folder();
        if let Some(path) = store.as_ref().map(|folder| folder.join(&key))
            && path.is_file()
        {
            let _folder = None;
            return Ok(Built { path, _folder });
        }
        let folder = tempfile::Builder::new()
            .prefix("trimproof-build-")
            .tempdir()
            .map_err(unwritable)?;
        let program = self.build_in(folder.path(), defines)?;
        // Kept for later where that can be; what cannot be kept is used all the same.
        if let Some(path) = store.and_then(|store| keep(&program, &store, &key).ok()) {
            let _folder = None;
            return Ok(Built { path, _folder });
        }
        Ok(Built {
            path: program,
            _folder: Some(folder),
        })
    }

    fn build_in(&self, build: &Path, defines: &[String]) -> Result<PathBuf, CompileError> {
        let host = build.join("host");
        for (name, text) in HOST_FILES {
            let file = host.join(name);
            write(&file, text.as_bytes())?;
        }
        let narrow = self.build_narrow(&host, build)?;
        let copy = build.join("copy");
        for (index, folder) in self.include.iter().enumerate() {
            for file in files_below(folder)? {
                let inside = file.strip_prefix(folder).unwrap_or(&file);
                narrowed(&narrow, &file, &copy.join(index.to_string()).join(inside))?;
            }
        }
        let mut objects = Vec::new();
        let mut compile = |source: &Source, is_core: bool| {
            let object = build.join(format!("{}.o", objects.len()));
            let defines = if is_core { &[] } else { defines };
            self.compile(source, &object, &host, &copy, defines)?;
            objects.push(object);
            Ok(())
        };
        for (name, _) in HOST_FILES {
            if is_source(Path::new(name)) && *name != NARROW {
                compile(&Source::of(host.join(name), name), true)?;
            }
        }
        for source in self.copies(&narrow, &copy)? {
            compile(&source, false)?;
        }
        let program = build.join("program");
        let mut link = Command::new(&self.cxx);
        link.args(["-no-pie", "-o"])
            .arg(&program)
            .args(&objects)
            .arg("-lm");
        self.add_sanitizers(&mut link);
        run(link, &self.cxx, "the whole program")?;
        Ok(program)
    }

    /// The tool that makes `long` as wide as on the chip.
    fn build_narrow(&self, host: &Path, build: &Path) -> Result<PathBuf, CompileError> {
        let narrow = build.join("narrow");
        let mut command = Command::new(&self.cc);
        command.args(["-std=gnu99", "-O1"]).arg(host.join(NARROW));
        command.arg("-o").arg(&narrow);
        run(command, &self.cc, NARROW)?;
        Ok(narrow)
    }

    /// The program's own sources, ready to be compiled: those of a sketch joined to one.
    fn copies(&self, narrow: &Path, copy: &Path) -> Result<Vec<Source>, CompileError> {
        let mut sources = Vec::new();
        let mut sketch = Vec::new();
        for file in &self.sources {
            let inside = file.strip_prefix(&self.folder).unwrap_or(file);
            let shown = inside.display().to_string();
            if file.extension().is_some_and(|extension| extension == "ino") {
                let bytes = fs::read(file).map_err(|error| unreadable(file, &error))?;
                sketch.push((shown, String::from_utf8_lossy(&bytes).into_owned()));
                continue;
            }
            let into = copy.join("0").join(inside);
            if !into.is_file() {
                narrowed(narrow, file, &into)?;
            }
            sources.push(Source::of(into, &shown));
        }
        // The one that is called as its folder comes first, the rest by name.
        let own = self.folder.canonicalize().ok();
        let own = own.as_deref().and_then(Path::file_name);
        sketch.sort_by_key(|(shown, _)| Path::new(shown).file_stem() != own);
        if let Some((first, _)) = sketch.first() {
            let files: Vec<SketchFile<'_>> = sketch
                .iter()
                .map(|(path, text)| SketchFile { path, text })
                .collect();
            let raw = copy.join("sketch.cpp");
            write(&raw, joined(&files).as_bytes())?;
            let into = copy.join("0/sketch.ino.cpp");
            narrowed(narrow, &raw, &into)?;
            sources.push(Source {
                is_sketch: true,
                ..Source::of(into, first)
            });
        }
        Ok(sources)
    }

    fn compile(
        &self,
        source: &Source,
        object: &Path,
        host: &Path,
        copy: &Path,
        defines: &[String],
    ) -> Result<(), CompileError> {
        let file = &source.file;
        let is_c = file.extension().is_some_and(|extension| extension == "c");
        let compiler = if is_c { &self.cc } else { &self.cxx };
        let mut command = Command::new(compiler);
        if is_c {
            command.arg("-std=gnu99");
        } else {
            command.args(["-std=gnu++11", "-fpermissive"]);
        }
        command
            .args(["-O1", "-g", "-w", "-fno-strict-aliasing", "-fno-pie"])
            // On the chip numbers with a sign wrap in practice too.
            .arg("-fwrapv")
            .arg(format!("-DTP_CHIP_{}", self.chip.name().to_uppercase()))
            .arg(format!("-DF_CPU={}UL", self.clock_hz))
            .args(defines.iter().map(|define| format!("-D{define}")))
            .arg("-I")
            .arg(host.join("api"))
            .arg("-I")
            .arg(host);
        for index in 0..self.include.len() {
            command.arg("-I").arg(copy.join(index.to_string()));
        }
        self.add_sanitizers(&mut command);
        if source.is_sketch {
            command.args(["-include", "Arduino.h"]);
        }
        command.arg("-c").arg(file).arg("-o").arg(object);
        run(command, compiler, &source.shown)
    }

    fn add_sanitizers(&self, command: &mut Command) {
        if self.sanitize {
            command.args([
                "-fsanitize=address,undefined",
                "-fno-sanitize-recover=all",
                "-fno-omit-frame-pointer",
            ]);
        }
    }

    /// What a program depends on, as a name.
    fn key(&self, defines: &[String]) -> Result<String, CompileError> {
        let mut hasher = blake3::Hasher::new();
        let mut add = |bytes: &[u8]| {
            hasher.update(&(bytes.len() as u64).to_le_bytes());
            hasher.update(bytes);
        };
        add(self.digest.as_bytes());
        add(self.folder.as_os_str().as_encoded_bytes());
        for compiler in [&self.cc, &self.cxx] {
            let said = Command::new(compiler).arg("--version").output();
            let said = said.map_err(|error| no_compiler(compiler, &error))?;
            add(compiler.as_encoded_bytes());
            add(&said.stdout);
        }
        for (name, text) in HOST_FILES {
            add(name.as_bytes());
            add(text.as_bytes());
        }
        for define in defines {
            add(define.as_bytes());
        }
        add(format!("{:?} {} {}", self.chip, self.clock_hz, self.sanitize).as_bytes());
        Ok(format!("program-{}", &hasher.finalize().to_hex()[..32]))
    }
}

/// The tool's source among the host core's files.
const NARROW: &str = "narrow.c";

/// A file to compile.
struct Source {
    file: PathBuf,
    /// What messages call it.
    shown: String,
    /// Whether it is a sketch, which never includes the API itself.
    is_sketch: bool,
}

impl Source {
    fn of(file: PathBuf, shown: &str) -> Self {
        Self {
            file,
            shown: shown.to_owned(),
            is_sketch: false,
        }
    }
}

/// Writes a file and the folders above it.
fn write(file: &Path, bytes: &[u8]) -> Result<(), CompileError> {
    let parent = file.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(parent).map_err(unwritable)?;
    fs::write(file, bytes).map_err(unwritable)
}

/// A copy of a source or header in which `long` is as wide as on the chip.
fn narrowed(narrow: &Path, file: &Path, into: &Path) -> Result<(), CompileError> {
    let done = Command::new(narrow).arg(file).output();
    let done = done.map_err(|error| unreadable(file, &error))?;
    if !done.status.success() {
        return Err(CompileError::Unreadable {
            file: file.display().to_string(),
            why: String::from_utf8_lossy(&done.stderr).trim().to_owned(),
        });
    }
    write(into, &done.stdout)
}

fn unreadable(file: &Path, error: &io::Error) -> CompileError {
    CompileError::Unreadable {
        file: file.display().to_string(),
        why: error.to_string(),
    }
}

/// Runs a compiler.
fn run(mut command: Command, compiler: &OsString, file: &str) -> Result<(), CompileError> {
    let done = command
        .output()
        .map_err(|error| no_compiler(compiler, &error))?;
    if done.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&done.stderr);
    let short: String = said.chars().take(SHOWN_MAX).collect();
    Err(CompileError::Refused {
        compiler: compiler.to_string_lossy().into_owned(),
        file: line(file).into_owned(),
        said: short.trim_end().to_owned(),
    })
}

fn no_compiler(compiler: &OsString, error: &io::Error) -> CompileError {
    CompileError::NoCompiler {
        compiler: compiler.to_string_lossy().into_owned(),
        why: match error.kind() {
            io::ErrorKind::NotFound => "there is no such program".to_owned(),
            _ => error.to_string(),
        },
    }
}

fn unwritable(error: io::Error) -> CompileError {
    CompileError::Unwritable {
        why: error.to_string(),
    }
}

fn is_source(file: &Path) -> bool {
    let extension = file.extension().and_then(|extension| extension.to_str());
    matches!(extension, Some("ino" | "cpp" | "cc" | "c"))
}

/// Sources that lie in the folder itself, by name.
fn sources_in(folder: &Path) -> Result<Vec<PathBuf>, CompileError> {
    let mut files: Vec<PathBuf> = read_folder(folder)?
        .into_iter()
        .filter(|file| is_source(file) && file.is_file())
        .collect();
    files.sort();
    Ok(files)
}

fn read_folder(folder: &Path) -> Result<Vec<PathBuf>, CompileError> {
    let entries = fs::read_dir(folder).map_err(|error| unreadable(folder, &error))?;
    entries
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<_, _>>()
        .map_err(|error| unreadable(folder, &error))
}

/// Most files below a source's folder.
const FILES_MAX: usize = 2000;
/// Most folders below each other in which headers are looked for.
const DEPTH_MAX: usize = 6;

/// Sources and headers in a folder and below it, sorted; hidden folders are left out.
fn files_below(folder: &Path) -> Result<Vec<PathBuf>, CompileError> {
    let mut found = Vec::new();
    let mut folders = vec![(folder.to_owned(), 0)];
    while let Some((inside, depth)) = folders.pop() {
        for path in read_folder(&inside)? {
            let hidden = path
                .file_name()
                .is_some_and(|name| name.as_encoded_bytes().starts_with(b"."));
            if path.is_dir() && !hidden && depth < DEPTH_MAX {
                folders.push((path, depth + 1));
            } else if path.is_file() && (is_header(&path) || is_source(&path)) {
                found.push(path);
            }
            if found.len() > FILES_MAX {
                return Err(CompileError::Unreadable {
                    file: folder.display().to_string(),
                    why: format!("it holds more than {FILES_MAX} sources"),
                });
            }
        }
    }
    found.sort();
    Ok(found)
}

/// A hash of the sources and of everything else that lies in and below their folders.
fn digest_of(sources: &[PathBuf], folders: &[PathBuf]) -> Result<blake3::Hash, CompileError> {
    let mut files = sources.to_vec();
    for folder in folders {
        files.extend(files_below(folder)?);
    }
    files.sort();
    files.dedup();
    let mut hasher = blake3::Hasher::new();
    let mut left = SOURCES_MAX;
    for file in &files {
        let refuse = |why: &str| CompileError::Unreadable {
            file: file.display().to_string(),
            why: why.to_owned(),
        };
        let size = fs::metadata(file).map_err(|error| unreadable(file, &error))?;
        if !size.is_file() {
            return Err(refuse("it is not a regular file"));
        }
        left = left
            .checked_sub(size.len())
            .ok_or_else(|| refuse("the sources are larger than 32 MiB"))?;
        let bytes = fs::read(file).map_err(|error| unreadable(file, &error))?;
        let name = file.file_name().unwrap_or_default().as_encoded_bytes();
        for part in [name, &bytes] {
            hasher.update(&(part.len() as u64).to_le_bytes());
            hasher.update(part);
        }
    }
    Ok(hasher.finalize())
}

fn is_header(file: &Path) -> bool {
    let extension = file.extension().and_then(|extension| extension.to_str());
    matches!(extension, Some("h" | "hpp" | "hh" | "inc"))
}

/// Where built programs are kept: the user's own folder for such things.
fn store_folder() -> Option<PathBuf> {
    let cache = std::env::var_os("XDG_CACHE_HOME")
        .map(PathBuf::from)
        .filter(|folder| folder.is_absolute())
        .or_else(|| Some(PathBuf::from(std::env::var_os("HOME")?).join(".cache")))?;
    let folder = cache.join("trimproof/programs");
    fs::create_dir_all(&folder).ok()?;
    Some(folder)
}

/// Puts a program into the store, whole or not at all.
fn keep(program: &Path, store: &Path, key: &str) -> io::Result<PathBuf> {
    let part = tempfile::Builder::new()
        .prefix(".part-")
        .tempfile_in(store)?;
    fs::copy(program, part.path())?;
    let path = store.join(key);
    part.into_temp_path()
        .persist(&path)
        .map_err(|error| error.error)?;
    Ok(path)
}
