"""From lift at the follower to lift at the valve."""
