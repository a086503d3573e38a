"""The uses as pure functions: measurement and spec in, result out."""
