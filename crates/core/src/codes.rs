//! Enums whose variants have a stable word each: programs rely on the word, decisions are made on the variant.

/// Makes an enum from one table of variants and words, with `ALL`, `word` and `Display`.
macro_rules! codes {
    ($(#[$meta:meta])* pub enum $name:ident { $($(#[$doc:meta])* $variant:ident = $word:literal,)* }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum $name {
            $(#[doc = concat!("`", $word, "`.")] $(#[$doc])* $variant,)*
        }

        impl $name {
            /// Every variant, in order.
            pub const ALL: &[Self] = &[$(Self::$variant,)*];

            /// The stable word, as in the JSON outputs.
            pub const fn word(self) -> &'static str {
                match self {
                    $(Self::$variant => $word,)*
                }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.word())
            }
        }
    };
}

pub(crate) use codes;
