namespace RehabRecords.Fuzz;

/// <summary>Something that is given damaged input: makes the case of a number and does it.</summary>
internal abstract class Target
{
    public abstract string Name { get; }

    /// <summary>How often it is chosen, against the others of its kind.</summary>
    public virtual int Weight => 10;

    /// <summary>Makes the input of a case; it is kept aside before it is used, in case the process ends with it.</summary>
    public abstract byte[] Make(Chance chance);

    /// <summary>How the cases ended, for those who ask whether they get anywhere; nothing where each ends alike.</summary>
    public virtual string Ends => "";

    /// <returns>What went wrong that must not, or null. Being refused is well.</returns>
    public abstract Task<string?> RunAsync(byte[] input, Chance chance);
}
