//! Pictures as files.

use std::path::Path;
use trimproof_harness::suite::{plain, write_whole};
use trimproof_report::picture::{self, PictureError};

/// Writes a picture as `NAME.svg` and `NAME.png` into a folder, each file whole or not at all; gives what could not be
/// written and why.
pub fn write(folder: &Path, name: &str, svg: Result<&str, PictureError>) -> Vec<(String, String)> {
    let mut failed = Vec::new();
    let undrawn = |error: PictureError| (format!("the picture {name}"), error.to_string());
    let svg = match svg {
        Ok(svg) => svg,
        Err(error) => return vec![undrawn(error)],
    };
    let mut file = |ending: &str, bytes: &[u8]| {
        let file = folder.join(format!("{name}.{ending}"));
        if let Err(error) = write_whole(&file, bytes) {
            failed.push((file.display().to_string(), plain(&error)));
        }
    };
    file("svg", svg.as_bytes());
    match picture::png(svg) {
        Ok(png) => file("png", &png),
        Err(error) => failed.push(undrawn(error)),
    }
    failed
}
