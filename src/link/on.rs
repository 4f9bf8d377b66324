//! Where the controller under test runs, as the command line names it.

use crate::error::LinkError;
use std::path::PathBuf;
use std::str::FromStr;

/// Where the controller under test runs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum On {
    /// In this process: `logic`.
    Logic,
    /// This firmware image in an emulated board: `image:FILE`.
    Image(PathBuf),
    /// The source in this folder, compiled for this machine and run at its pins: `source:DIR`.
    Source(PathBuf),
    /// A board on this serial port: `port:NAME`.
    Port(String),
}

impl FromStr for On {
    type Err = LinkError;

    fn from_str(text: &str) -> Result<Self, LinkError> {
        match text.split_once(':') {
            None if text == "logic" => Ok(On::Logic),
            Some(("image", file)) if !file.is_empty() => Ok(On::Image(file.into())),
            Some(("source", folder)) if !folder.is_empty() => Ok(On::Source(folder.into())),
            Some(("port", name)) if !name.is_empty() => Ok(On::Port(name.to_owned())),
            _ => Err(LinkError::UnknownPlace(text.to_owned())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_read_and_others_refused_with_the_choices() {
        assert_eq!("logic".parse(), Ok(On::Logic));
        assert_eq!("image:a:b.elf".parse(), Ok(On::Image("a:b.elf".into())));
        assert_eq!("source:a/b".parse(), Ok(On::Source("a/b".into())));
        assert_eq!("port:COM3".parse(), Ok(On::Port("COM3".to_owned())));
        for text in [
            "", "logic:", "image", "image:", "source:", "port:", "Port:x", "board",
        ] {
            let error = text.parse::<On>().unwrap_err().to_string();
            for word in ["logic", "image:FILE", "source:DIR", "port:NAME"] {
                assert!(error.contains(word), "{text}: {error}");
            }
        }
    }
}
