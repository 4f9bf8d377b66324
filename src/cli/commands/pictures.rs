//! Pictures as files.

use std::path::Path;
use trimproof_harness::suite::{plain, write_whole};
use trimproof_report::picture::PictureError;

/// Writes a picture as `NAME.svg` and, where the build has it, `NAME.png` into a folder, each file
/// whole or not at all; gives what could not be written and why.
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
    match forms(svg) {
        Ok(forms) => {
            for (ending, bytes) in forms {
                file(ending, &bytes);
            }
        }
        Err(error) => failed.push(undrawn(error)),
    }
    failed
}

/// A picture in every form that this build writes, each with the ending of its file.
pub fn forms(svg: &str) -> Result<Vec<(&'static str, Vec<u8>)>, PictureError> {
    Ok(vec![
        ("svg", svg.as_bytes().to_vec()),
        #[cfg(feature = "png")]
        ("png", trimproof_report::picture::png(svg)?),
    ])
}
