//! Range checks of a rig file's numbers, and the macro that keeps a number's range, its
//! documentation, the JSON schema and the check in one place.

use trimproof_diagnostics::FileError;

/// Collects the first thing wrong with a rig; later checks are skipped once one has failed.
pub(super) struct RangeChecker<'a> {
    text: &'a str,
    path: String,
    error: Option<FileError>,
}

impl<'a> RangeChecker<'a> {
    /// A checker of the rig whose text this is.
    pub(super) fn new(text: &'a str) -> Self {
        Self {
            text,
            path: String::new(),
            error: None,
        }
    }

    /// The first error, if there was one.
    pub(super) fn finish(self) -> Result<(), FileError> {
        self.error.map_or(Ok(()), Err)
    }

    /// Runs `checks` with `key` (a table's key, or `[i]` for an array's entry) added to the path.
    pub(super) fn within(&mut self, key: &str, checks: impl FnOnce(&mut Self)) {
        let length = self.path.len();
        self.path = self.full(key);
        checks(self);
        self.path.truncate(length);
    }

    /// `value` must be a number within the closed range.
    pub(super) fn number(&mut self, key: &str, value: f64, min: f64, max: f64) {
        self.require(key, value >= min && value <= max, || {
            format!("is `{value}`, it must be `{min}` to `{max}`")
        });
    }

    /// Every entry of `values` must be a number within the closed range.
    pub(super) fn numbers(&mut self, key: &str, values: &[f64], min: f64, max: f64) {
        for (index, value) in values.iter().enumerate() {
            self.number(&format!("{key}[{index}]"), *value, min, max);
        }
    }

    /// The condition must hold; else `message` (which follows the key's path) is the error.
    pub(super) fn require(&mut self, key: &str, holds: bool, message: impl FnOnce() -> String) {
        if !holds && self.error.is_none() {
            let path = self.full(key);
            self.error = Some(FileError::at(
                self.text,
                &path,
                format!("`{path}` {}", message()),
            ));
        }
    }

    fn full(&self, key: &str) -> String {
        if self.path.is_empty() || key.starts_with('[') {
            format!("{}{key}", self.path)
        } else {
            format!("{}.{key}", self.path)
        }
    }
}

/// Makes a strict table of numbers, each `name: type = min..=max`: the range goes into the
/// documentation, the JSON schema and a `check_numbers` method.
macro_rules! table {
    ($(#[$outer:meta])* pub struct $name:ident {
        $($(#[$inner:meta])* $field:ident: $kind:ty = $min:literal..=$max:literal,)*
    } $(and {
        $($(#[$other:meta])* $flag:ident: $flag_kind:ty,)*
    })?) => {
        #[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
        #[serde(deny_unknown_fields)]
        $(#[$outer])*
        pub struct $name {
            $($(#[$inner])*
            #[doc = concat!("Valid: ", stringify!($min), " to ", stringify!($max), ".")]
            #[schemars(range(min = $min, max = $max))]
            pub $field: $kind,)*
            $($($(#[$other])* pub $flag: $flag_kind,)*)?
        }

        impl $name {
            /// Checks each number on its own.
            fn check_numbers(&self, check: &mut $crate::rig::check::RangeChecker<'_>) {
                $(check.number(stringify!($field), f64::from(self.$field), f64::from($min), f64::from($max));)*
            }
        }
    };
}
pub(super) use table;
