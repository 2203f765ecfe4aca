"""Many facilities, many collectors: who follows which facility, agreed over a NATS JetStream cluster."""
