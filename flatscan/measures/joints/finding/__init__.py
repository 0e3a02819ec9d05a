"""From a picture of the floor seen from straight above to the network of its joints."""
