//! The three macros that keep one text for two databases.

/// A closed set of words kept as text in the record, one word a variant.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal, $says:literal;)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize, sqlx::Type)]
        #[sqlx(type_name = "text")]
        pub enum $name {
            $(
                $(#[$vdoc])*
                #[serde(rename = $text)]
                #[sqlx(rename = $text)]
                $variant,
            )+
        }

        impl $name {
            /// Every word of the set, in the order of the trade.
            pub const ALL: &'static [Self] = &[$(Self::$variant),+];

            /// The word as it is kept.
            pub const fn text(self) -> &'static str {
                match self { $(Self::$variant => $text),+ }
            }

            /// The word as a person reads it.
            pub const fn says(self) -> &'static str {
                match self { $(Self::$variant => $says),+ }
            }

            /// Every word as it is kept and as a person reads it, for a list to choose from.
            pub fn choices() -> Vec<(String, String)> {
                Self::ALL.iter().map(|word| (word.text().to_owned(), word.says().to_owned())).collect()
            }

            /// The word kept as this text, if it is one of the set.
            pub fn read(text: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|word| word.text() == text)
            }
        }

        impl $crate::record::fit::Fit for $name {
            fn fit(&mut self) -> std::result::Result<(), &'static str> {
                Ok(())
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.says())
            }
        }
    };
}

/// A kind of row: the struct, its table and how it is written. `id` and `act` (the act that wrote it last) come first.
macro_rules! record {
    ($(#[$doc:meta])* $name:ident in $table:literal { $($(#[$fdoc:meta])* $field:ident: $type:ty,)+ }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq, serde::Serialize, serde::Deserialize, sqlx::FromRow)]
        pub struct $name {
            /// Number of the row in its table; 0 before it is first written.
            pub id: i64,
            /// Sequence number of the act that wrote the row last.
            pub act: i64,
            $($(#[$fdoc])* pub $field: $type,)+
        }

        impl $crate::record::row::Record for $name {
            const TABLE: &'static str = $table;
            const COLUMNS: &'static [&'static str] = &["id", "act", $(stringify!($field)),+];

            fn id(&self) -> i64 {
                self.id
            }

            fn stamp(&mut self, id: i64, act: i64) {
                self.id = id;
                self.act = act;
            }

            fn written(&self) -> i64 {
                self.act
            }

            fn fit(&mut self) -> std::result::Result<(), $crate::record::fit::Unfit> {
                $(
                    $crate::record::fit::Fit::fit(&mut self.$field)
                        .map_err(|why| $crate::record::fit::Unfit { field: stringify!($field), why })?;
                )+
                Ok(())
            }

            fn bind_sqlite<'q>(&self, query: $crate::record::row::SqliteQuery<'q>) -> $crate::record::row::SqliteQuery<'q> {
                query.bind(self.id).bind(self.act)$(.bind(self.$field.clone()))+
            }

            fn bind_postgres<'q>(&self, query: $crate::record::row::PostgresQuery<'q>) -> $crate::record::row::PostgresQuery<'q> {
                query.bind(self.id).bind(self.act)$(.bind(self.$field.clone()))+
            }
        }
    };
}

/// Runs one expression on whichever database the connection is of.
macro_rules! on {
    ($conn:expr, $c:ident => $body:expr) => {{
        $crate::record::db::asked();
        match $conn {
            $crate::record::db::Conn::Sqlite(tx) => {
                let $c = &mut **tx;
                $body
            }
            $crate::record::db::Conn::Postgres(tx) => {
                let $c = &mut **tx;
                $body
            }
        }
    }};
}

/// SQL of nights: those that are not being repeated by a loan that stands.
macro_rules! not_repeated {
    () => {
        "id NOT IN (SELECT repeats_night FROM loan WHERE repeats_night IS NOT NULL AND status NOT IN ('cancelled', 'lost'))"
    };
}
