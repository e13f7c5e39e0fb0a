//! A number of the policy file, described once.

/// A number of the policy as data: its key, its meaning, its range, in the unit of the file.
#[derive(Clone, Copy, Debug)]
pub struct NumberKey<T: 'static, N: 'static = f64> {
    /// Key in its section.
    pub key: &'static str,
    /// What it is, in words.
    pub meaning: &'static str,
    /// Lowest value that the policy takes.
    pub least: N,
    /// Highest value that the policy takes.
    pub most: N,
    /// Where the default comes from.
    pub source: &'static str,
    /// Reads it.
    pub get: fn(&T) -> N,
    /// Sets it.
    pub set: fn(&mut T, N),
}

/// Keys, one a line: key, least, most, meaning, source, how it is read and how it is set.
macro_rules! number_keys {
    ($($key:expr, $least:expr, $most:expr, $meaning:expr, $source:expr, $get:expr, $set:expr;)+) => {
        &[$($crate::tables::number_key::NumberKey {
            key: $key,
            meaning: $meaning,
            least: $least,
            most: $most,
            source: $source,
            get: $get,
            set: $set,
        }),+]
    };
}

/// A section of the policy with a field for each key: key, default, least, most, meaning and, where there is one, source.
macro_rules! number_section {
    (
        $(#[$of_section:meta])* $section:ident,
        $(#[$of_keys:meta])* $keys:ident of $number:ty:
        $($key:ident = $default:literal, $least:literal, $most:literal, $meaning:literal $(, $source:literal)?;)+
    ) => {
        $(#[$of_section])*
        pub struct $section {
            $(#[doc = $meaning] pub $key: $number,)+
        }

        impl Default for $section {
            fn default() -> Self {
                Self { $($key: $default,)+ }
            }
        }

        $(#[$of_keys])*
        pub static $keys: &[$crate::tables::number_key::NumberKey<$section, $number>] =
            $crate::tables::number_key::number_keys! { $(
                stringify!($key), $least, $most, $meaning, concat!($($source)?),
                |section| section.$key, |section, value| section.$key = value;
            )+ };
    };
}

pub(crate) use {number_keys, number_section};
