//! Hands the board's memory layout to the linker.

use std::{env, fs, path::PathBuf};

/// lm3s6965 as QEMU emulates it: flash at 0, RAM at 0x2000_0000.
const MEMORY: &str = "MEMORY
{
  FLASH : ORIGIN = 0x00000000, LENGTH = 256K
  RAM : ORIGIN = 0x20000000, LENGTH = 64K
}
";

fn main() {
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR"));
    fs::write(out.join("memory.x"), MEMORY).expect("cargo's OUT_DIR is writable");
    println!("cargo:rustc-link-search={}", out.display());
    println!("cargo:rustc-link-arg-bins=--nmagic");
    println!("cargo:rustc-link-arg-bins=-Tlink.x");
    println!("cargo:rerun-if-changed=build.rs");
}
