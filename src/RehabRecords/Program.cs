using RehabRecords.Commands;

return await Start.RunAsync(args, static settings =>
{
    var builder = WebApplication.CreateBuilder(settings);
    var app = builder.Build();
    return app;
});
