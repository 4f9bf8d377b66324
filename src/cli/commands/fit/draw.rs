//! Pictures of what the fit leaves.

use std::path::Path;
use trimproof_feel::fit::Fit;
use trimproof_feel::picture::{self, ResidualPlot};
use trimproof_harness::suite::{plain, write_whole};

/// Writes a residual plot of every measurement as SVG and PNG, each file whole or not at all; gives what could not be
/// written and why.
pub fn write_all(folder: &Path, rig: &str, fit: &Fit) -> Vec<(String, String)> {
    let mut failed = Vec::new();
    for axis in &fit.axes {
        for residuals in &axis.residuals {
            let axis = axis.axis.name();
            let name = format!("residuals-{axis}-{}", residuals.name.replace(' ', "-"));
            let title = format!("What the fit of {rig} leaves, {axis}");
            let made = picture::residual_plot(&ResidualPlot {
                title: &title,
                residuals,
            })
            .and_then(|svg| Ok((picture::png(&svg)?, svg)));
            match made {
                Err(error) => failed.push((format!("the picture {name}"), error.to_string())),
                Ok((png, svg)) => {
                    for (ending, bytes) in [("svg", svg.as_bytes()), ("png", &png)] {
                        let file = folder.join(format!("{name}.{ending}"));
                        if let Err(error) = write_whole(&file, bytes) {
                            failed.push((file.display().to_string(), plain(&error)));
                        }
                    }
                }
            }
        }
    }
    failed
}
